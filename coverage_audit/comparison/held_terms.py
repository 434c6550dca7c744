"""What passes to and from the question "is it held elsewhere?": trees that stay, files to be read, words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from coverage_audit.comparison.held_rows import HeldTree
from coverage_audit.evidence.elsewhere import Held


@dataclass(frozen=True, kw_only=True)
class StayingTree:
    """A tree that stays. `counts`: this audit saw it on a place shown to stay; else it only may hold something."""

    tree: HeldTree
    counts: bool = True


@dataclass(frozen=True, kw_only=True)
class ToRead:
    """Files of one tree (its number on its side) whose content is wanted: their rows and the figures listed."""

    side: str  # "mine" or "others"
    tree: int
    places: tuple[int, ...]
    paths: tuple[bytes, ...]
    sizes: tuple[int, ...]
    mtimes: tuple[int, ...]
    ctimes: tuple[int | None, ...]


def why_lone(row: Mapping[str, Any]) -> str:
    """Say what was seen of others of a file's size, by its row of `classes`."""
    match Held(row["held"]):
        case Held.BY_LISTING:
            return "a file of its place, size and time is elsewhere; the content was not read on both sides"
        case Held.BY_SIZE:
            return f"{row['there']} of its size elsewhere; not all of them were read"
        case Held.PERHAPS:
            return "a place that stays may hold it, and was not seen in this audit"
        case _ if row["there"]:
            return f"{row['there']} of its size elsewhere, each of other content"
        case _:
            return "none of its size is elsewhere"
