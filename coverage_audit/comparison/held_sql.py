"""The statements of "is it held elsewhere?". Rows without a digest are equal to nothing."""

from __future__ import annotations

import hashlib
import struct
from typing import Final

_EMPTY: Final = struct.unpack("<4Q", hashlib.sha256(b"").digest())

_ROWS = """
    tree INTEGER, place BIGINT, size BIGINT, mtime BIGINT, ctime BIGINT, key_hi UBIGINT, key_lo UBIGINT,
    dataset INTEGER, left_out BOOLEAN, listed_hi UBIGINT, listed_lo UBIGINT, step BIGINT, counts BOOLEAN,
    tried BOOLEAN, d0 UBIGINT, d1 UBIGINT, d2 UBIGINT, d3 UBIGINT
"""
TABLES: Final = (f"CREATE TEMP TABLE mine ({_ROWS})", f"CREATE TEMP TABLE others ({_ROWS})")

_SET = "d0 = told.d0, d1 = told.d1, d2 = told.d2, d3 = told.d3"
_SET_EMPTY = ", ".join(f"d{number} = {word}" for number, word in enumerate(_EMPTY))

SET_DIGESTS: Final = {
    # What has no bytes has the content of every other such file, read or not.
    "empty": f"UPDATE mine SET {_SET_EMPTY} WHERE size = 0; UPDATE others SET {_SET_EMPTY} WHERE size = 0",  # noqa: S608
    **{
        side: f"UPDATE {side} SET {_SET} FROM told WHERE {side}.tree = $1 AND {side}.place = told.place"  # noqa: S608
        for side in ("mine", "others")
    },
    **{
        f"tried {side}": f"UPDATE {side} SET tried = true FROM told WHERE tree = $1 AND {side}.place = told.place"  # noqa: S608
        for side in ("mine", "others")
    },
}
STAND: Final = {
    side: f"""
        UPDATE {side} SET {_SET} FROM told
        WHERE {side}.tree = $1 AND {side}.key_hi = told.key_hi AND {side}.key_lo = told.key_lo
            AND {side}.size = told.size AND {side}.mtime = told.mtime
            AND coalesce({side}.ctime = told.ctime, true)
    """  # noqa: S608
    for side in ("mine", "others")
}
"""A remembered digest stands for a row of the same path and figures."""

# `open`: files that leave and that no digest shows to be held, where one of their size may still be the same.
CANDIDATES: Final = """
CREATE OR REPLACE TEMP TABLE open AS
WITH lone AS (
    SELECT * FROM mine m WHERE NOT EXISTS (
        SELECT 1 FROM others o
        WHERE o.counts AND o.size = m.size AND o.d0 = m.d0 AND o.d1 = m.d1 AND o.d2 = m.d2 AND o.d3 = m.d3
    )
), by_size AS (
    SELECT size, count(*) FILTER (counts) AS there, count(d0) FILTER (counts) AS known,
        count(*) FILTER (NOT counts AND d0 IS NULL) AS weak
    FROM others GROUP BY size
), listed AS (
    SELECT DISTINCT m.tree, m.place FROM lone m JOIN others o
        ON o.listed_hi = m.listed_hi AND o.listed_lo = m.listed_lo AND o.size = m.size
    WHERE o.counts AND abs(o.mtime - m.mtime) < greatest(o.step, m.step) AND (o.d0 IS NULL OR m.d0 IS NULL)
)
SELECT lone.*, coalesce(there, 0) AS there, coalesce(known, 0) AS known, coalesce(weak, 0) AS weak,
    coalesce(CASE WHEN lone.d0 IS NULL THEN there > 0 ELSE there > known END, false) AS undecided,
    listed.place IS NOT NULL AS listed
FROM lone LEFT JOIN by_size USING (size) LEFT JOIN listed ON listed.tree = lone.tree AND listed.place = lone.place
"""

MINE_TO_READ: Final = """
SELECT tree, place, size, mtime, ctime FROM open
WHERE undecided AND d0 IS NULL AND NOT tried AND (NOT listed OR $1) ORDER BY tree, place
"""
_OPEN = "SELECT * FROM open WHERE undecided AND d0 IS NOT NULL AND (NOT listed OR $1)"
OTHERS_TO_READ: Final = f"""
SELECT tree, place, size, mtime, ctime FROM others o
WHERE counts AND d0 IS NULL AND NOT tried AND size IN (SELECT size FROM ({_OPEN})) ORDER BY tree, place
"""  # noqa: S608
OTHERS_LIKELY: Final = f"""
SELECT tree, place, size, mtime, ctime FROM others o
WHERE counts AND d0 IS NULL AND NOT tried AND (
    (size, mtime) IN (SELECT (size, mtime) FROM ({_OPEN}))
    OR (size, listed_hi, listed_lo) IN (SELECT (size, listed_hi, listed_lo) FROM ({_OPEN} AND listed_hi IS NOT NULL))
) ORDER BY tree, place
"""  # noqa: S608

CLASSES: Final = """
CREATE OR REPLACE TEMP TABLE classes AS
SELECT open.*, CASE
    WHEN undecided AND listed THEN 'by listing only'
    WHEN undecided THEN 'not hashed'
    WHEN weak > 0 OR dataset IN (SELECT dataset FROM unseen) THEN 'perhaps elsewhere'
    ELSE 'only here'
END AS held FROM open
"""
SUMS: Final = "SELECT held, count(*) AS files, sum(size)::BIGINT AS bytes FROM classes GROUP BY held"

LARGEST: Final = "SELECT * FROM classes ORDER BY held = 'only here' DESC, size DESC, tree, place LIMIT $1"

LEFT_TO_READ: Final = """
SELECT true AS leaves, tree, count(*) AS files, sum(size)::BIGINT AS bytes FROM open
WHERE undecided AND d0 IS NULL GROUP BY tree
UNION ALL
SELECT false, tree, count(*), sum(size)::BIGINT FROM others
WHERE counts AND d0 IS NULL AND size IN (SELECT size FROM open WHERE undecided) GROUP BY tree
"""

NOWHERE: Final = """
SELECT m.number FROM mine_keys m ANTI JOIN other_keys o ON m.d0 = o.d0 AND m.d1 = o.d1
"""
