"""Whether a copy took a rewriting over, where size and time cannot say it: told by when its own files were written.

A copy that keeps no times, or keeps coarse ones, counts as holding the state before a rewriting and the one after it
alike. But a file that nobody has touched since before the change cannot hold what came with it, whatever its times say.
"""

from __future__ import annotations

from typing import Final

from coverage_audit.comparison.finding import find_listed
from coverage_audit.comparison.relation import described
from coverage_audit.comparison.terms import Terms, ask
from coverage_audit.comparison.types import Matched
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.engine import Engine

_WANTED: Final = """
CREATE OR REPLACE TEMP TABLE wanted AS
SELECT DISTINCT key_hi, key_lo FROM fallen ANTI JOIN lack USING (key_hi, key_lo) WHERE sort = 'changed' AND kind = 'f'
"""

# $1: what is added to the copy's mtimes. $2, $3: the listing before the change, and the one after it, began (ns).
# $4: ctimes are by the auditor's clock. What the copy holds both by the state before and by the one after is either's.
_EITHER: Final = """
WITH either AS (
    SELECT f.size,
        if($4::BOOLEAN, c.ctime, NULL) AS written, c.mtime + getvariable('by_size_offset') AS dated
    FROM fallen f JOIN wanted USING (key_hi, key_lo) JOIN listed c USING (key_hi, key_lo)
    WHERE f.sort = 'changed' AND f.kind = 'f' AND c.kind = 'f' AND (
        getvariable('times') = 0
        OR holds(c.kind, c.size, c.mtime + $1::BIGINT, c.target, f.kind, f.size, f.mtime, f.target))
),
told AS (
    SELECT size, CASE
        WHEN written < $2::BIGINT THEN 'before'
        WHEN written >= $3::BIGINT AND dated >= $3::BIGINT THEN 'after'
        ELSE 'unclear'
    END AS side
    FROM either
)
SELECT side, count(*) AS files, coalesce(sum(size), 0)::BIGINT AS bytes FROM told GROUP BY side
"""


def not_taken_over(engine: Engine, matched: Matched, terms: Terms, seed: bytes) -> tuple[Tally, Tally]:
    """Return what was rewritten and the copy holds as before for sure, and of what that cannot be told.

    The engine holds `lack` and `fallen`. Raises ComparisonError where a listing cannot be read.
    """
    if matched.fallen is None:
        return Tally(), Tally()
    engine.execute(_WANTED)
    if not ask(engine, "SELECT count(*) FROM wanted"):
        return Tally(), Tally()
    find_listed(engine, matched.copy.file, seed, None)
    said = described(matched.fallen)
    before, after = said.get("before_ns"), said.get("after_ns")  # the first rows of this kind did not say
    known = terms.copy_offset is not None and "ctime" not in matched.copy.origin.lacks
    sums = {
        row["side"]: Tally(files=row["files"], bytes=row["bytes"])
        for row in engine.query(_EITHER, [terms.shift, before, after, known]).to_pylist()
    }
    return sums.get("before", Tally()), sums.get("unclear", Tally())
