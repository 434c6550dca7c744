"""What a volume is made of: its drives, and what of them is spent so that some may be lost."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class ParityKind(StrEnum):
    """How a volume goes on without a drive."""

    SPREAD = "spread"  # equal slices of all drives, as many of them parity as drives may be lost
    DEDICATED = "dedicated"  # whole drives hold parity, each other keeps its own size
    MIRROR = "mirror"  # each drive holds all of it


@dataclass(frozen=True, kw_only=True)
class Drive:
    """One drive: its size in bytes, and since when it runs (None: not declared)."""

    size: int
    in_service: date | None = None


@dataclass(frozen=True, kw_only=True)
class Parity:
    """How many drives' worth is spent on parity; of a mirror it is all but one, whatever `drives` says."""

    kind: ParityKind
    drives: int = 1

    def __str__(self) -> str:
        """Say it as the estate file does."""
        return self.kind if self.kind is ParityKind.MIRROR else f"{self.kind}, drives: {self.drives}"
