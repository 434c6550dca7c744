"""How fast a volume was seen to give back what it holds."""

from __future__ import annotations

from dataclasses import dataclass

from coverage_audit.estate.model import VolumeKey


@dataclass(frozen=True, kw_only=True)
class MeasuredRate:
    """Bytes a second (decimal) at which files were read back from a volume: the median of its last drills."""

    volume: VolumeKey
    rate: int
