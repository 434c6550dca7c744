"""Whether a tree really lies on the volume that its address names, or a link on the way leads out of it.

A root that is a link is followed, and so is every folder above it. What counts is where one stood after that: below the
volume's own path, which may have been reached by links, too. What lies elsewhere is no part of the volume,
whatever it holds: its identity, its drives and its machine are not the volume's, and with what it leads to it is gone.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address, VolumeKey
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible


def require_on_its_volume(address: Address, real: bytes, entered: Mapping[VolumeKey, bytes]) -> None:
    """Hold the real path of a tree's root, without links, against those of its device's volumes in `entered`.

    Of a volume that was not entered nothing is known, and its trees are held against nothing: they do not count
    anyhow. Raises TransportError: ANOTHER_VOLUME, and MALFORMED where the box does not say the root's real path.
    """
    own = entered.get(address.volume)
    if own is None:
        return
    if not (real.startswith(b"/") and own.startswith(b"/")):
        raise TransportError(GapKind.MALFORMED, f"{address}: the box does not say where it really lies")
    if not _holds(own, real):
        raise TransportError(GapKind.ANOTHER_VOLUME, f"a link leads out of the volume: it lies in {visible(real)}")
    if real == _joined(own, address.path):
        return
    for volume, other in entered.items():
        if len(other) > len(own) and _holds(other, real):
            raise TransportError(GapKind.ANOTHER_VOLUME, f"a link leads to {volume}: it lies in {visible(real)}")


def real_path_of(descriptor: int) -> bytes:
    """Return where what is open here really lies, without links. Raises OSError."""
    return os.readlink(b"/proc/self/fd/%d" % descriptor)  # noqa: PTH115 - pathlib knows no bytes


def _holds(folder: bytes, path: bytes) -> bool:
    return _ended(path).startswith(_ended(folder))


def _ended(path: bytes) -> bytes:
    return path.rstrip(b"/") + b"/"


def _joined(volume: bytes, path: str) -> bytes:
    return _ended(volume + b"/" + os.fsencode(path)).replace(b"//", b"/").rstrip(b"/") or b"/"
