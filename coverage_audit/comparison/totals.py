"""Counting rows: entries that are no folders, and the bytes of regular files."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from coverage_audit.comparison.side import FILE, FOLDER
from coverage_audit.evidence.difference import RowClass, Tally


def tally(kinds: Any, sizes: Any) -> Tally:
    """Count rows given by their kinds (letter codes) and sizes."""
    return Tally(files=int((kinds != FOLDER).sum()), bytes=int(sizes[kinds == FILE].sum()))


@dataclass(kw_only=True)
class Weak:
    """What is held on less: `unproven` by neither time nor digest, `retimed` (a count) by digest under another time."""

    unproven: Tally = field(default_factory=Tally)
    retimed: int = 0


@dataclass(kw_only=True)
class Differences:
    """What the rows of a raw relation add up to.

    `missing_blind` is part of `missing`, `content` and `hollow` are parts of `changed`.
    """

    missing: Tally = field(default_factory=Tally)
    changed: Tally = field(default_factory=Tally)
    extra: Tally = field(default_factory=Tally)
    missing_blind: Tally = field(default_factory=Tally)
    content: Tally = field(default_factory=Tally)
    hollow: Tally = field(default_factory=Tally)
    folders_missing: int = 0
    surplus: int = 0  # rows of any kind that the copy has alone, or of another version

    def add(self, rows: Any) -> None:
        """Add rows of the raw relation."""
        kinds = rows.group_by(["row_class", "blind", "o_kind", "c_kind"])
        for like in kinds.aggregate([([], "count_all"), ("o_size", "sum"), ("c_size", "sum")]).to_pylist():
            self._add_alike(RowClass(like["row_class"]), like)

    def _add_alike(self, row_class: RowClass, like: dict[str, Any]) -> None:
        side = "c" if row_class is RowClass.EXTRA else "o"
        kind, rows = like[f"{side}_kind"], like["count_all"]
        counted = Tally(files=0 if kind == "d" else rows, bytes=(like[f"{side}_size_sum"] or 0) if kind == "f" else 0)
        self.surplus += 0 if row_class is RowClass.MISSING else rows
        if row_class is RowClass.EXTRA:
            self.extra += counted
        elif row_class is RowClass.MISSING:
            self.missing += counted
            self.missing_blind += counted if like["blind"] else Tally()
            self.folders_missing += rows if kind == "d" else 0
        else:
            self.changed += counted
            self.content += counted if row_class is RowClass.CONTENT else Tally()
            self.hollow += counted if row_class is RowClass.HOLLOW else Tally()
