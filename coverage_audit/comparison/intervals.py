"""The start of a difference as an interval, out of the listings of the original that are still kept.

Going back in time from listing to listing, a row is followed while the original already was past what the copy
holds. The first listing that was not yet past it bounds the start from below; the one after it, or this
audit's, from above: the row's ctime there, or the moment it was seen where the ctime lies before the lower
bound (a move keeps no ctime; clocks differ).

The listing that the last comparison used is the reference: what did not differ then was held then, so what is
lacking now came later, unless the copy went back. Any other listing that shows an earlier version than the one
held bounds nothing: times can lie. Nor does a version that is held by its size, where digests show that it is not.
"""

from __future__ import annotations

from coverage_audit.comparison.terms import tell
from coverage_audit.evidence.engine import Engine

_SORTED_OUT = """
CREATE OR REPLACE TEMP TABLE step AS
SELECT
    u.*, k.kind IS NOT NULL AS was_there,
    least(coalesce(k.ctime, getvariable('listed_by')), getvariable('listed_by')) AS seen_then,
    coalesce(u.c_kind = 'f' AND k.kind = 'f' AND before_by_far(u.c_mtime, k.mtime), false) AS behind,
    coalesce(u.c_kind = 'f' AND k.kind = 'f' AND u.c_mtime >= k.mtime, false) AS not_past,
    alike(u.o_kind, u.o_size, u.o_mtime, u.o_target, k.kind, k.size, k.mtime, k.target) AS same_original,
    holds(u.c_kind, u.c_size, u.c_mtime, u.c_target, k.kind, k.size, k.mtime, k.target)
        AND NOT (u.hashed AND same_original) AS held
FROM unplaced u LEFT JOIN listed k ON u.key_hi = k.key_hi AND u.key_lo = k.key_lo
"""

_PLAIN = """
CASE
    WHEN NOT was_there THEN 'lacked'
    WHEN class <> 'missing' AND held THEN 'held'
    WHEN not_past THEN 'not yet'
    ELSE 'past'
END
"""

_REFERENCE = """
CASE
    WHEN NOT was_there THEN 'lacked'
    WHEN fresh AND class = 'missing' THEN 'lost'
    WHEN fresh AND class IN ('newer', 'other') AND same_original THEN 'own'
    WHEN class <> 'missing' AND held THEN 'held'
    WHEN fresh AND (not_past OR (class = 'newer' AND NOT behind) OR getvariable('times') = 0) THEN 'held till then'
    WHEN not_past THEN 'not yet'
    ELSE 'past'
END
"""

_BEGIN = """
INSERT INTO begun
WITH bounded AS (
    SELECT *, CASE WHEN latest < getvariable('listed_from') THEN seen_by ELSE latest END AS until
    FROM (SELECT *, {answer} AS answer FROM step) WHERE answer NOT IN ('past', 'not yet')
)
SELECT
    i,
    CASE
        WHEN answer IN ('lost', 'own') THEN NULL
        WHEN answer = 'held' THEN getvariable('listed_from')
        ELSE greatest(getvariable('listed_from'), version_time(class, c_mtime, until))
    END,
    CASE WHEN answer = 'lost' THEN seen_then WHEN answer = 'own' THEN latest ELSE until END,
    NULL, getvariable('moment'), answer = 'lost' OR went_back,
    CASE
        WHEN answer = 'own' THEN 'changed on its own'
        WHEN answer = 'lacked' AND unclear(class, o_kind, o_size, c_kind, c_size, hashed) THEN 'content unverified'
    END,
    CASE WHEN answer IN ('lost', 'own') OR went_back THEN getvariable('last_copy') END,
    false
FROM bounded
"""

_GO_ON = """
CREATE OR REPLACE TEMP TABLE unplaced AS
SELECT
    i, key_hi, key_lo, class, o_kind, o_size, o_mtime, o_target, c_kind, c_size, c_mtime, c_target, hashed,
    CASE WHEN answer = 'past' THEN seen_then ELSE latest END AS latest,
    CASE WHEN answer = 'past' THEN getvariable('listed_by') ELSE seen_by END AS seen_by,
    fresh, went_back OR ({reference} AND fresh AND class <> 'missing' AND behind) AS went_back
FROM (SELECT *, {answer} AS answer FROM step) WHERE answer IN ('past', 'not yet')
"""

_END = """
INSERT INTO begun
SELECT
    i,
    CASE WHEN NOT (fresh AND $1) THEN version_time(class, c_mtime, latest) END,
    latest, NULL, getvariable('moment'), went_back,
    CASE WHEN unclear(class, o_kind, o_size, c_kind, c_size, hashed) THEN 'content unverified' END,
    CASE WHEN went_back THEN getvariable('last_copy') END,
    false
FROM unplaced
WHERE fresh OR $2
"""

_VERSION_TIME = """
CREATE TEMP MACRO version_time(class, c_mtime, until) AS CASE
    WHEN class = 'older' AND getvariable('keeps_times') = 1 AND c_mtime >= 0
        AND c_mtime - getvariable('original_offset') <= until
    THEN c_mtime - getvariable('original_offset')
END
"""


def begin_placing(engine: Engine) -> None:
    """Make the definitions of this module known to the engine."""
    engine.execute(_VERSION_TIME)


def place(engine: Engine, *, started_ns: int, finished_ns: int, reference: bool) -> None:
    """Judge all of `unplaced` by one listing of the original, whose wanted rows stand in `listed`.

    Rows whose start it bounds go to `begun`, the others stay. Listings are given newest first; `reference`: it is
    the one that the last comparison used.
    """
    tell(engine, "listed_from", started_ns)
    tell(engine, "listed_by", max(started_ns, finished_ns))
    answer = _REFERENCE if reference else _PLAIN
    engine.execute(_SORTED_OUT)
    engine.execute(_BEGIN.format(answer=answer))
    engine.execute(_GO_ON.format(answer=answer, reference=str(reference).lower()))
    engine.execute("DROP TABLE step")


def give_up(engine: Engine, *, reference_lost: bool, all_rows: bool) -> None:
    """Place what no listing bounds from below: the earliest start is the held version's own time, or not known.

    `reference_lost`: what was held at the last comparison can no longer be told, so rows that did not differ then
    get no earliest start at all. Unless `all_rows`, only those are placed.
    """
    engine.execute(_END, [reference_lost, all_rows])
    engine.execute("DELETE FROM unplaced WHERE fresh OR ?", [all_rows])
