"""Whether a copy takes anything up: pending is a grace for a copy that keeps up, and for no other.

Files that live for less than a copy's `max_age` are young at every audit, so their age alone would excuse for ever
a copy that has long stopped. What was lacking at the last comparison is therefore looked for again: taken up, still
lacking, or gone from the original without ever having been held.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from coverage_audit.comparison.finding import FEW, find_listed
from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.terms import ask
from coverage_audit.evidence.difference import TakeUp
from coverage_audit.evidence.engine import Engine

_LACKING = "verdict IN ('pending', 'between', 'counts')"

_STILL_DIFFERING = f"""
SELECT
    count(*) FILTER (CASE
        WHEN l.class = 'missing' THEN false
        WHEN b.class = 'missing' THEN true
        ELSE l.c_kind = 'f' AND b.c_kind = 'f' AND before_by_far(b.c_mtime, l.c_mtime)
    END) AS taken,
    count(*) FILTER (l.class = 'extra' AND b.class <> 'missing'
        AND alike(l.c_kind, l.c_size, l.c_mtime, l.c_target, b.c_kind, b.c_size, b.c_mtime, b.c_target)) AS gone
FROM before b JOIN lack l ON b.key_hi = l.key_hi AND b.key_lo = l.key_lo
WHERE b.{_LACKING} AND NOT l.blind
"""  # noqa: S608 - the fragment is this module's own

_VANISHED = f"""
CREATE OR REPLACE TEMP TABLE vanished AS
SELECT i, key_hi, key_lo, {_LACKING} AS lacking FROM before ANTI JOIN lack USING (key_hi, key_lo)
"""  # noqa: S608 - the fragment is this module's own

_UNSEEN = """
CREATE OR REPLACE TEMP TABLE unseen AS SELECT i, lacking FROM vanished ANTI JOIN listed USING (key_hi, key_lo)
"""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What became of the rows that were lacking at the last comparison."""

    taken_up: bool = False
    gone_unheld: int = 0


def look_for(engine: Engine, relation: Path, original: Path, seed: bytes, *, blind_original: bool) -> Seen:
    """Find out what became of the rows that were lacking at the last comparison (`before`, against `lack`).

    `relation` is the one that `before` was loaded from, `original` the listing of this audit. Where part of that
    was not seen, what is not found in it is not taken to be gone; its numbers stand in the engine's table `unseen`.
    Raises ComparisonError as `find_listed` does.
    """
    engine.execute(_VANISHED)
    engine.execute("CREATE OR REPLACE TEMP TABLE wanted AS SELECT key_hi, key_lo FROM vanished")
    paths = None
    if ask(engine, "SELECT count(*) FROM vanished") <= FEW:
        paths = paths_at(relation, engine.query("SELECT i FROM vanished")["i"].to_pylist()).values()
    find_listed(engine, original, seed, paths)
    engine.execute(_UNSEEN)
    held = ask(engine, "SELECT count(*) FROM vanished SEMI JOIN listed USING (key_hi, key_lo) WHERE lacking")
    gone = ask(engine, "SELECT count(*) FROM unseen WHERE lacking")
    differing = engine.query(_STILL_DIFFERING).to_pylist()[0]
    return Seen(
        taken_up=held + differing["taken"] > 0,
        gone_unheld=differing["gone"] + (0 if blind_original else gone),
    )


def go_on(before: TakeUp, seen: Seen, *, now: datetime, progress: bool, lacking: bool) -> TakeUp:
    """Return the record with this audit in it.

    `progress`: nothing is lacking, or something that came since the last comparison is held; `lacking`: something
    is. `pending_since` is the first audit since the last progress at which something was lacking.
    """
    since = now if lacking else None
    if progress or seen.taken_up:
        return TakeUp(last_progress=now, gone_unheld=0, pending_since=since)
    return TakeUp(
        last_progress=before.last_progress,
        gone_unheld=before.gone_unheld + seen.gone_unheld,
        pending_since=before.pending_since or since,
    )
