"""The statements of "is it held elsewhere?". What was not read has no content, and is equal to nothing.

`mine` are the files that leave, `others` those of a size that leaves in trees that count, `weak` the sizes of files in
trees that only may hold something. `mine_content` and `other_content` are what was read of either: a key of 128 bits
for each content, made with the ledger's secret seed, so that only the same content has the same key. `mine_steps` and
`other_steps` say how fine the times of each tree are.
"""

from __future__ import annotations

from typing import Final

_ROWS = """
    i BIGINT, tree INTEGER, place INTEGER, size BIGINT, mtime BIGINT, ctime BIGINT, key_hi UBIGINT, key_lo UBIGINT,
    listed_hi UBIGINT, listed_lo UBIGINT, tried BOOLEAN, read BOOLEAN
"""
TABLES: Final = (
    f"CREATE TEMP TABLE mine ({_ROWS}, dataset INTEGER, left_out BOOLEAN)",
    f"CREATE TEMP TABLE others ({_ROWS})",
    "CREATE TEMP TABLE weak (size BIGINT)",
    "CREATE TEMP TABLE mine_content (i BIGINT, k_hi UBIGINT, k_lo UBIGINT)",
    "CREATE TEMP TABLE other_content (i BIGINT, k_hi UBIGINT, k_lo UBIGINT)",
    "CREATE TEMP TABLE mine_steps (tree INTEGER, step BIGINT)",
    "CREATE TEMP TABLE other_steps (tree INTEGER, step BIGINT)",
)

_NUMBER = "($1::BIGINT << 32) + place"
_LISTED = f"{_NUMBER}, $1, place, size, mtime, ctime, key_hi, key_lo, listed_hi, listed_lo, false, false"
INSERT: Final = {
    "mine": f"INSERT INTO mine SELECT {_LISTED}, dataset, left_out FROM part",  # noqa: S608
    "others": f"INSERT INTO others SELECT {_LISTED} FROM part",  # noqa: S608
    "weak": "INSERT INTO weak SELECT DISTINCT size FROM part",
    "mine step": "INSERT INTO mine_steps VALUES ($1, $2)",
    "others step": "INSERT INTO other_steps VALUES ($1, $2)",
}

_SIDES: Final = {"mine": "mine_content", "others": "other_content"}

SET_EMPTY: Final = {
    side: (
        f"INSERT INTO {content} SELECT i, $1, $2 FROM {side} WHERE size = 0",  # noqa: S608
        f"UPDATE {side} SET read = true WHERE size = 0",  # noqa: S608
    )
    for side, content in _SIDES.items()
}
"""What has no bytes has the content of every other such file, read or not."""
READ: Final = {
    side: (
        f"INSERT INTO {content} SELECT {_NUMBER}, k_hi, k_lo FROM told",  # noqa: S608
        f"UPDATE {side} SET read = true FROM told WHERE {side}.i = ($1::BIGINT << 32) + told.place",  # noqa: S608
    )
    for side, content in _SIDES.items()
}
SET_TRIED: Final = {
    side: f"UPDATE {side} SET tried = true FROM told WHERE {side}.i = ($1::BIGINT << 32) + told.place"  # noqa: S608
    for side in _SIDES
}
STANDING: Final = {
    side: f"""
        SELECT s.place, first(told.k_hi) AS k_hi, first(told.k_lo) AS k_lo FROM {side} s JOIN told
        ON s.key_hi = told.key_hi AND s.key_lo = told.key_lo AND s.size = told.size AND s.mtime = told.mtime
        WHERE s.tree = $1 AND NOT s.read AND s.ctime = told.ctime GROUP BY s.place
    """  # noqa: S608
    for side in _SIDES
}
"""A remembered digest stands for a row of the same path and figures that was not read yet.

Without a ctime on both sides none does: a file that was written anew, its size and time put back, would not be seen.
"""

NOWHERE: Final = "SELECT i FROM mine_content ANTI JOIN other_content USING (k_hi, k_lo)"
"""The files whose content was read and seen in no other; the engine holds the smaller side in memory."""

# `unheld`: of those, where one of their size may still be the same it is undecided.
UNHELD: Final = f"""
CREATE OR REPLACE TEMP TABLE unheld AS
WITH nowhere AS ({NOWHERE}), lone AS (
    SELECT * FROM mine WHERE NOT read OR i IN (SELECT i FROM nowhere)
), sizes AS (
    SELECT size, count(*) AS there, count(*) FILTER (read) AS known
    FROM others SEMI JOIN lone USING (size) GROUP BY size
), listed AS (
    SELECT DISTINCT m.i
    FROM lone m JOIN others o ON o.listed_hi = m.listed_hi AND o.listed_lo = m.listed_lo AND o.size = m.size
    JOIN mine_steps ms ON ms.tree = m.tree JOIN other_steps os ON os.tree = o.tree
    WHERE abs(o.mtime - m.mtime) < greatest(ms.step, os.step) AND NOT (o.read AND m.read)
)
SELECT lone.*, coalesce(there, 0) AS there, size IN (SELECT size FROM weak) AS weak,
    coalesce(CASE WHEN lone.read THEN there > known ELSE there > 0 END, false) AS undecided,
    listed.i IS NOT NULL AS listed
FROM lone LEFT JOIN sizes USING (size) LEFT JOIN listed ON listed.i = lone.i
"""  # noqa: S608

MINE_TO_READ: Final = """
SELECT tree, place, size, mtime, ctime FROM unheld
WHERE undecided AND NOT read AND NOT tried AND (NOT listed OR $1) ORDER BY tree, place
"""
_OPEN = "SELECT * FROM unheld WHERE undecided AND read AND (NOT listed OR $1)"
OTHERS_TO_READ: Final = f"""
SELECT tree, place, size, mtime, ctime FROM others
WHERE NOT read AND NOT tried AND size IN (SELECT size FROM ({_OPEN})) ORDER BY tree, place
"""  # noqa: S608
OTHERS_LIKELY: Final = f"""
SELECT tree, place, size, mtime, ctime FROM others
WHERE NOT read AND NOT tried AND (
    (size, mtime) IN (SELECT (size, mtime) FROM ({_OPEN}))
    OR (size, listed_hi, listed_lo) IN (SELECT (size, listed_hi, listed_lo) FROM ({_OPEN} AND listed_hi IS NOT NULL))
) ORDER BY tree, place
"""  # noqa: S608

DIFFERING: Final = """
WITH here AS (
    SELECT m.*, step, k_hi, k_lo FROM mine m JOIN mine_steps USING (tree) JOIN mine_content USING (i)
    WHERE listed_hi IS NOT NULL AND size > 0 AND i NOT IN (SELECT i FROM unheld)
), there AS (
    SELECT o.*, step, k_hi, k_lo FROM others o JOIN other_steps USING (tree) JOIN other_content USING (i)
    WHERE listed_hi IS NOT NULL
)
SELECT here.dataset, there.tree, count(*) AS files, arg_max(there.place, there.size) AS place
FROM here JOIN there USING (listed_hi, listed_lo, size)
WHERE abs(there.mtime - here.mtime) < greatest(here.step, there.step)
    AND (there.k_hi, there.k_lo) IS DISTINCT FROM (here.k_hi, here.k_lo)
GROUP BY here.dataset, there.tree ORDER BY here.dataset, there.tree
"""
"""Of what is held somewhere: where the same place, size and time bear another content. Only after UNHELD."""

CLASSES: Final = """
CREATE OR REPLACE TEMP TABLE classes AS
SELECT unheld.*, CASE
    WHEN undecided AND listed THEN 'by listing only'
    WHEN undecided THEN 'not hashed'
    WHEN weak OR dataset IN (SELECT dataset FROM unseen) THEN 'perhaps elsewhere'
    ELSE 'only here'
END AS held FROM unheld
"""
SUMS: Final = "SELECT held, count(*) AS files, sum(size)::BIGINT AS bytes FROM classes GROUP BY held"
LARGEST: Final = "SELECT * FROM classes ORDER BY held = 'only here' DESC, size DESC, tree, place LIMIT $1"
LEFT_TO_READ: Final = """
SELECT true AS leaves, tree, count(*) AS files, sum(size)::BIGINT AS bytes FROM unheld
WHERE undecided AND NOT read GROUP BY tree
UNION ALL
SELECT false, tree, count(*), sum(size)::BIGINT FROM others
WHERE NOT read AND size IN (SELECT size FROM unheld WHERE undecided) GROUP BY tree
"""
