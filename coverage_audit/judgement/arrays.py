"""What a volume's drives are together, held against what the volume shows of its size."""

from __future__ import annotations

from typing import Final

from coverage_audit.estate.hardware import ParityKind
from coverage_audit.estate.model import Volume
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.facts import Gap, VolumeFacts
from coverage_audit.reckoning.parity import Array, array_of

_ROUNDED: Final = 1.05
"""A drive holds a little more than its declared size says: no drive holds this much more (the project's own choice)."""


def array_of_volume(volume: Volume, seen: VolumeFacts | Gap | None = None) -> Array:
    """Return what a volume's drives are together.

    Raises ValueError, in words for the owner, where no such array can be; also of a mirror that shows more than its
    smallest drive holds: its drives then do not hold all of it each (pairs, or two copies spread over several drives),
    and how many of them may be lost is not known.
    """
    array = array_of([drive.size for drive in volume.drives], volume.parity)
    capacity = seen.capacity if isinstance(seen, VolumeFacts) else None
    mirrored = volume.parity is not None and volume.parity.kind is ParityKind.MIRROR
    if mirrored and capacity is not None and capacity > array.usable * _ROUNDED:
        raise ValueError(
            f"it shows {format_size(capacity)}, more than a mirror of these drives holds ({format_size(array.usable)}):"
            " not each of them holds all of it"
        )
    return array


def losses_stood(volume: Volume, seen: VolumeFacts | Gap | None = None) -> int | None:
    """Return how many of its drives a volume may lose (None: that cannot be told; 0 where none is declared)."""
    if not volume.drives:
        return 0
    try:
        return array_of_volume(volume, seen).stands
    except ValueError:
        return None
