"""The proven recovery point: the earliest start among all that a copy lacks, with and without what sticks out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from coverage_audit.comparison.summing import named
from coverage_audit.comparison.terms import Terms, ask
from coverage_audit.evidence.difference import Sample
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.instants import from_ns, span_ns

MOST_STICKING_OUT = 20
FILES_FOR_ONE = 1000
"""One name in so many may stick out (the project's own choice, no published source)."""

_DAY = span_ns(timedelta(days=1))

# Where no earliest start is known, the version's own time stands in for it: of what is missing that of the
# original's row, else of the version held. A time that cannot be (before 1970, after the latest start) says nothing.
START_DEFINITION = """
CREATE TEMP MACRO start_of(class, earliest, latest, o_mtime, c_mtime, offset_ns) AS least(latest, coalesce(
    earliest,
    CASE WHEN (CASE WHEN class IN ('missing', 'newer') THEN o_mtime ELSE c_mtime END) - coalesce(offset_ns, 0)
        BETWEEN 0 AND latest
    THEN (CASE WHEN class IN ('missing', 'newer') THEN o_mtime ELSE c_mtime END) - coalesce(offset_ns, 0) ELSE 0 END))
"""

_OLDEST = f"""
SELECT i, class::VARCHAR AS class, verdict::VARCHAR AS verdict, coalesce(o_size, 0) AS size,
    coalesce(o_mtime, 0) AS mtime, earliest, latest,
    start_of(class, earliest, latest, o_mtime, c_mtime, getvariable('original_offset')) AS start
FROM judged WHERE class <> 'extra' ORDER BY start, i LIMIT {MOST_STICKING_OUT + 1}
"""  # noqa: S608 - a number of this module


@dataclass(frozen=True, kw_only=True)
class Starts:
    """The earliest start of all that is lacking, and of all but what sticks out (None: nothing is left)."""

    earliest: datetime | None
    trimmed: datetime | None
    sticking_out: tuple[Sample, ...]


def earliest_starts(engine: Engine, relation: Path, terms: Terms, files: int) -> Starts:
    """Return how far back one would fall. `files` is how many the original has."""
    engine.execute(START_DEFINITION)
    oldest = engine.query(_OLDEST).to_pylist()
    lacking = ask(engine, "SELECT count(*) FROM judged WHERE class <> 'extra'")
    starts = [row["start"] for row in oldest]
    dropped = _sticking_out(starts, terms.moment, min(files // FILES_FOR_ONE, lacking // 2))
    return Starts(
        earliest=from_ns(starts[0]) if starts else None,
        trimmed=from_ns(starts[dropped]) if len(starts) > dropped else None,
        sticking_out=named(relation, oldest[:dropped]),
    )


def _sticking_out(starts: Sequence[Any], moment: int, share: int) -> int:
    """Return how many of the earliest starts stick out: they lie further before the rest than the rest before now.

    Always by more than a day, one row at least may, a thousandth of the files, half of what is lacking and twenty
    at most.
    """
    most = min(MOST_STICKING_OUT, max(1, share))
    for count in range(min(most, len(starts)), 0, -1):
        rest = starts[count] if count < len(starts) else moment
        if rest - starts[count - 1] > max(_DAY, moment - rest):
            return count
    return 0
