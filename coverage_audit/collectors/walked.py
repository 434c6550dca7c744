"""What every way of walking a tree must be able to say at its end; without it there is no manifest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from coverage_audit.evidence.manifest import Blind

ANOTHER_FILESYSTEM: Final = "another filesystem is mounted here"
REPLACED: Final = "it was replaced while it was being read"

AddRows = Callable[[Any], None]
"""Takes a record batch of `evidence.store.BATCH_SCHEMA`; ManifestWriter.add is one."""


@dataclass(frozen=True, kw_only=True)
class Walked:
    """A walk that came to its end, proven by its terminator, its count and its exit status.

    `how`, `precision_ns` and `lacks` belong into the manifest's Origin. `vanished` entries were gone between being
    listed and being looked at: an ordinary race. `real_root` is where the root lies without links, as whoever walked
    stood in it; empty where that was not said.
    """

    how: str
    entries: int
    blind: tuple[Blind, ...]
    vanished: int = 0
    precision_ns: int = 1
    lacks: frozenset[str] = frozenset()
    real_root: bytes = field(default=b"", compare=False)
