"""The relation that is kept from audit to audit: what differs, since when, and what that means.

Its columns are those of the raw relation and the start of each difference. Beside them stands what the next
audit must know of this one: which listing of the original was compared, and when.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

import pyarrow as pa

from coverage_audit.comparison.relation import RAW, described
from coverage_audit.errors import ComparisonError

KEPT_SCHEMA_NAME = "coverage-audit/carried/2"
FIRST_KEPT_SCHEMA_NAME = "coverage-audit/carried/1"  # it knew no digests

KEPT = pa.schema(
    [
        *(field for field in RAW if field.name != "blind"),
        pa.field("verdict", pa.string(), nullable=False),  # a RowVerdict value
        pa.field("earliest_ns", pa.int64()),  # the difference began at the earliest; null: not known
        pa.field("latest_ns", pa.int64()),  # and at the latest; null where EXTRA
        pa.field("birth_ns", pa.int64()),  # of the original's file, where it was asked for
        pa.field("first_compared_ns", pa.int64()),  # the audit that first met this difference
        pa.field("went_back", pa.bool_(), nullable=False),  # the copy once held what it lacks now
        pa.field("held_until_ns", pa.int64()),  # the last audit that saw it held, where it went back
        pa.field("seen", pa.bool_(), nullable=False),  # False: below a place of the original not seen in this audit
    ]
)
"""Columns of the relation that is kept."""


@dataclass(frozen=True, kw_only=True)
class PairFacts:
    """What a relation says of the comparison that wrote it (ns; None: there is no such audit).

    `complete_ns` is when the listing of the newest complete original that this pair was compared with started;
    `keeps_times` is whether the copy was ever seen to keep the original's times.
    `basis` is what it rested on (`means.basis`), `unproven` how many files count as held without their content being
    shown by a time or a digest.
    `observed_ns` the last moment at which either side was looked at; `first_ns` the pair's first comparison.
    """

    compared_ns: int
    original_ns: int
    complete_ns: int | None
    copy_ns: int
    observed_ns: int
    first_ns: int | None
    shift_ns: int
    seed_id: str
    original: str
    copy: str
    leave_out: tuple[str, ...] = ()
    basis: tuple[str, ...] = ()
    unproven: int = 0
    keeps_times: bool = False


def description(facts: PairFacts) -> Mapping[str, object]:
    """Return what is written beside the rows."""
    return {"schema": KEPT_SCHEMA_NAME, **asdict(facts)}


def read_facts(file: Path) -> PairFacts:
    """Return what a kept relation says of itself. Raises ComparisonError if it is missing, foreign or newer."""
    said = dict(described(file))
    schema = said.pop("schema", None)
    if schema not in {KEPT_SCHEMA_NAME, FIRST_KEPT_SCHEMA_NAME}:
        raise ComparisonError(f"{file} is written as {schema!r}; this version reads {KEPT_SCHEMA_NAME!r}")
    try:
        for name in ("leave_out", "basis"):
            said[name] = tuple(said.get(name, ()))  # type: ignore[arg-type]  # a wrong type is caught below
        return PairFacts(**said)  # type: ignore[arg-type]  # likewise
    except (TypeError, KeyError) as error:
        raise ComparisonError(f"{file} does not say which comparison it was written by: {error}") from error
