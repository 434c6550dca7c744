"""The differing rows of a relation as values, one at a time: for lists, explanations and tests."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coverage_audit.comparison.relation import read_relation
from coverage_audit.evidence.difference import RowClass, RowVerdict
from coverage_audit.evidence.manifest import Kind, Row


@dataclass(frozen=True, kw_only=True)
class DifferingRow:
    """One path that differs: what the original has and what the copy has (None: nothing).

    `verdict` and what follows are None or False in a raw relation. Instants are nanoseconds since 1970 UTC.
    """

    path: bytes
    row_class: RowClass
    original: Row | None
    copy: Row | None
    blind: bool = False
    verdict: RowVerdict | None = None
    earliest_ns: int | None = None
    latest_ns: int | None = None
    birth_ns: int | None = None
    first_compared_ns: int | None = None
    went_back: bool = False


def differing_rows(relation: Path) -> Iterator[DifferingRow]:
    """Yield the rows of a raw or final relation in tree order, never many in memory.

    Rows that are only kept in mind (their path could not be seen in that audit) are left aside.
    Raises ComparisonError if the file is missing, cut or foreign.
    """
    for table in read_relation(relation, batch=4096):
        for values in table.to_pylist():
            if values.get("seen", True):
                yield _row(values)


def _row(values: dict[str, Any]) -> DifferingRow:
    verdict = values.get("verdict")
    return DifferingRow(
        path=values["path"],
        row_class=RowClass(values["row_class"]),
        original=_side(values, "o"),
        copy=_side(values, "c"),
        blind=bool(values.get("blind")),
        verdict=None if verdict is None else RowVerdict(verdict),
        went_back=bool(values.get("went_back")),
        **{name: values.get(name) for name in ("earliest_ns", "latest_ns", "birth_ns", "first_compared_ns")},
    )


def _side(values: dict[str, Any], side: str) -> Row | None:
    kind = values[f"{side}_kind"]
    if kind is None:
        return None
    own = {name: values[f"{side}_{name}"] for name in ("ctime_ns", "target", "digest")}
    size, mtime = (values[f"{side}_{name}"] or 0 for name in ("size", "mtime_ns"))
    return Row(path=values["path"], kind=Kind(kind), size=size, mtime_ns=mtime, **own)
