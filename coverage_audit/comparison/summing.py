"""Adding up what was judged: tallies, the earliest start, the rows to show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.terms import ask
from coverage_audit.evidence.difference import RowClass, RowVerdict, Sample, Tally
from coverage_audit.evidence.engine import Engine

SAMPLES = 20
"""How many differing rows a summary shows."""

_WORST_FIRST = (
    RowVerdict.ITS_OWN,
    RowVerdict.CONTENT,
    RowVerdict.COUNTS,
    RowVerdict.UNHASHED,
    RowVerdict.UNKNOWN,
    RowVerdict.BETWEEN,
    RowVerdict.PENDING,
    RowVerdict.HELD_BACK,
    RowVerdict.EXTRA,
)

_TALLIES = """
SELECT
    verdict::VARCHAR AS verdict, class = 'missing' AS missing, class = 'extra' AS extra, went_back,
    count(*) AS rows, count(*) FILTER (kind <> 'd') AS files,
    coalesce(sum(size) FILTER (kind = 'f'), 0)::BIGINT AS bytes
FROM (
    SELECT verdict, class, coalesce(went_back, false) AS went_back,
        CASE WHEN class = 'extra' THEN c_kind ELSE o_kind END AS kind,
        CASE WHEN class = 'extra' THEN c_size ELSE o_size END AS size
    FROM judged
) GROUP BY ALL
"""

_RANK = (
    "CASE verdict " + " ".join(f"WHEN '{word.value}' THEN {rank}" for rank, word in enumerate(_WORST_FIRST)) + " END"
)

_SHOWN = f"""
SELECT
    i, class::VARCHAR AS class, verdict::VARCHAR AS verdict, coalesce(o_size, c_size, 0) AS size,
    coalesce(o_mtime, c_mtime, 0) AS mtime, earliest, latest
FROM judged WHERE verdict <> 'extra' ORDER BY {_RANK}, coalesce(earliest, latest), i LIMIT {SAMPLES}
"""  # noqa: S608 - the fragments are this module's own

# Where no audit saw a difference begin, only the file's own time says when: an old file that is lacking while younger
# ones are held is a hole. Where its beginning is known, what is held must have come surely after it.
_HOLES = """
SELECT min(CASE
    WHEN NOT went_back AND earliest IS NOT NULL THEN latest
    ELSE least(latest, (CASE WHEN class = 'missing' THEN o_mtime ELSE c_mtime END) - getvariable('original_offset'))
END) FROM judged WHERE verdict = 'counts'
"""


@dataclass(frozen=True, kw_only=True)
class Sums:
    """Tallies by verdict, and of all that is missing or changed; counts of rows of any kind by verdict."""

    by_verdict: Mapping[RowVerdict, Tally] = field(default_factory=dict)
    rows: Mapping[RowVerdict, int] = field(default_factory=dict)
    missing: Tally
    changed: Tally
    extra: Tally
    went_back: Tally

    def of(self, verdict: RowVerdict) -> Tally:
        """Return the tally of one verdict."""
        return self.by_verdict.get(verdict, Tally())


def sum_up(engine: Engine) -> Sums:
    """Add up the view `judged`."""
    groups: Sequence[dict[str, Any]] = engine.query(_TALLIES).to_pylist()

    def tally(chosen: Sequence[dict[str, Any]]) -> Tally:
        return Tally(files=sum(group["files"] for group in chosen), bytes=sum(group["bytes"] for group in chosen))

    found = {word: [group for group in groups if group["verdict"] == word] for word in RowVerdict}
    return Sums(
        by_verdict={word: tally(chosen) for word, chosen in found.items()},
        rows={word: sum(group["rows"] for group in chosen) for word, chosen in found.items()},
        missing=tally([group for group in groups if group["missing"]]),
        changed=tally([group for group in groups if not group["missing"] and not group["extra"]]),
        extra=tally([group for group in groups if group["extra"]]),
        went_back=tally([group for group in found[RowVerdict.COUNTS] if group["went_back"]]),
    )


def without(whole: Tally, part: Tally) -> Tally:
    """Return what is left of a tally without a part of it."""
    return Tally(files=whole.files - part.files, bytes=whole.bytes - part.bytes)


def samples(engine: Engine, relation: Path) -> tuple[Sample, ...]:
    """Return some rows to show, the worst and the oldest first."""
    return named(relation, engine.query(_SHOWN).to_pylist())


def named(relation: Path, rows: Sequence[dict[str, Any]]) -> tuple[Sample, ...]:
    """Return a few judged rows with their paths, which the raw relation knows."""
    paths = paths_at(relation, [row["i"] for row in rows])
    return tuple(
        Sample(
            path=paths[row["i"]],
            row_class=RowClass(row["class"]),
            verdict=RowVerdict(row["verdict"]),
            size=row["size"],
            mtime_ns=row["mtime"],
            earliest_ns=row["earliest"],
            latest_ns=row["latest"],
        )
        for row in rows
    )


def holds_newer(engine: Engine, *, newest_held: int | None, holds_files: bool) -> bool:
    """Whether something held came surely after something that counts, or a file was lost while others are held.

    `newest_held` is an instant by the auditor's clock at which the newest held file was surely not older.
    """
    lost = ask(engine, "SELECT count(*) FROM judged WHERE verdict = 'counts' AND went_back AND class = 'missing'")
    if lost and holds_files:
        return True
    oldest = engine.query(_HOLES).column(0)[0].as_py()
    return oldest is not None and newest_held is not None and newest_held > oldest
