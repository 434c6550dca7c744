"""What differs now meets what differed at the last comparison.

A difference that is the same difference keeps its start. One that the copy made worse (it lost the file, it went
back, it changed on its own) is told at once. The rest goes on to the kept listings of the original.
"""

from __future__ import annotations

from coverage_audit.comparison.terms import tell
from coverage_audit.evidence.engine import Engine

_SEEN_NOW = """
CREATE TEMP MACRO seen_now(ctime) AS least(coalesce(ctime, getvariable('finished')), getvariable('finished'))
"""

_MET = """
CREATE TEMP TABLE met AS
SELECT
    l.*, b.i AS b_i, b.class AS b_class, b.earliest, b.latest, b.birth, b.first_compared, b.held_until,
    coalesce(b.went_back, false) AS b_went_back, b.verdict AS b_verdict,
    alike(l.o_kind, l.o_size, l.o_mtime, l.o_target, b.o_kind, b.o_size, b.o_mtime, b.o_target) AS same_original,
    l.c_kind = 'f' AND b.c_kind = 'f' AND CASE
        WHEN b.class = 'newer' THEN b.o_kind = 'f' AND before_by_far(l.c_mtime, b.o_mtime)
        ELSE b.c_mtime <= getvariable('moment') AND before_by_far(l.c_mtime, b.c_mtime)
    END AS fell_back,
    CASE
        WHEN l.class = 'missing' THEN CASE WHEN b.class = 'missing' THEN 'same' ELSE 'lost' END
        WHEN b.class = 'missing' THEN CASE WHEN l.class = 'older' THEN 'moved' ELSE 'arrived' END
        WHEN alike(l.c_kind, l.c_size, l.c_mtime, l.c_target, b.c_kind, b.c_size, b.c_mtime, b.c_target) THEN 'same'
        WHEN l.class IN ('newer', 'other') AND same_original THEN 'own'
        WHEN l.class = 'newer' THEN 'both'
        ELSE 'moved'
    END AS way
FROM lack l JOIN before b ON l.key_hi = b.key_hi AND l.key_lo = b.key_lo
WHERE l.class <> 'extra'
"""

_BEGUN = """
CREATE TEMP TABLE begun (
    i BIGINT, earliest BIGINT, latest BIGINT, birth BIGINT, first_compared BIGINT,
    went_back BOOLEAN, mark row_verdict, held_until BIGINT, carried BOOLEAN)
"""

_KEEP = """
INSERT INTO begun
SELECT
    i,
    CASE WHEN way NOT IN ('lost', 'own') THEN earliest END,
    CASE WHEN way = 'own' THEN seen_now(o_ctime) ELSE latest END,
    birth,
    CASE WHEN way = 'own' THEN getvariable('moment') ELSE first_compared END,
    CASE
        WHEN way = 'lost' THEN true
        WHEN way = 'own' OR (way = 'arrived' AND b_verdict = 'unknown') THEN false
        ELSE b_went_back OR (way = 'both' AND fell_back)
    END,
    CASE
        WHEN way = 'own' OR (way = 'same' AND b_verdict = 'changed on its own') THEN 'changed on its own'
        WHEN way = 'same' AND b_verdict = 'content unverified' AND class IN ('newer', 'other') AND same_original
            AND NOT hashed
            THEN 'content unverified'
        WHEN way = 'arrived' AND unclear(class, o_kind, o_size, c_kind, c_size, hashed) THEN 'content unverified'
    END,
    CASE way
        WHEN 'lost' THEN coalesce(held_until, earliest)
        WHEN 'own' THEN getvariable('last_copy')
        ELSE held_until
    END,
    way = 'same'
FROM met WHERE way <> 'moved'
"""

_OPEN = """
CREATE TEMP TABLE unplaced AS
SELECT
    i, key_hi, key_lo, class, o_kind, o_size, o_mtime, o_target, c_kind, c_size, c_mtime, c_target, hashed,
    seen_now(o_ctime) AS latest, getvariable('finished') AS seen_by, fresh, went_back
FROM (
    SELECT *, false AS fresh, fell_back AND b_class <> 'missing' AS went_back FROM met WHERE way = 'moved'
    UNION ALL BY NAME
    SELECT *, true AS fresh, false AS went_back FROM lack ANTI JOIN before USING (key_hi, key_lo)
    WHERE class <> 'extra'
)
"""

_PUT_ASIDE = "CREATE TEMP TABLE put_aside AS SELECT b_i AS i FROM met WHERE blind AND b_class <> 'missing'"


def meet(engine: Engine, last_copy_ns: int | None) -> None:
    """Split `lack` into `begun` (the start is known from the last comparison) and `unplaced` (it is not yet).

    `last_copy_ns` is when the copy was listed for the last comparison. `put_aside` are rows of the last comparison
    (their numbers there) which say of the copy what could not be seen this time: they are kept in mind.
    """
    tell(engine, "last_copy", last_copy_ns)
    engine.execute(_SEEN_NOW)
    engine.execute(_MET)
    engine.execute(_BEGUN)
    engine.execute(_KEEP)
    engine.execute(_OPEN)
    engine.execute(_PUT_ASIDE)
    engine.execute("DROP TABLE met")
