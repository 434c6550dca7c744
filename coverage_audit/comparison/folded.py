"""Names that the copy spells otherwise: what is missing byte by byte and is there in another case or Unicode form.

A pair of one folded name is held where its facts say so, as any pair is. Of two names of the original that fold into
one, the one whose facts agree is held, and the other stays missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.classify import SQL, Rules, parameters
from coverage_audit.comparison.relation import read_relation
from coverage_audit.comparison.spelling import folded
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.store.columns import integers, octets_of, single
from coverage_audit.evidence.store.counting import HOLLOW_FROM

KNOWN: Final = ("kind", "size", "mtime_ns", "ctime_ns", "target", "digest")
_OTHERS: Final = "('older', 'newer', 'other')"
_CANDIDATES: Final = f"""
SELECT o.i AS o_i, c.i AS c_i, o.row_class = 'missing' AND c.row_class = 'extra' AS alone,
    {", ".join(f"o.o_{name}, c.c_{name}" for name in KNOWN)}
FROM spelled o JOIN spelled c ON o.fold = c.fold AND o.i <> c.i AND o.o_kind = c.c_kind
WHERE NOT o.blind AND (o.row_class = 'missing' OR o.row_class IN {_OTHERS})
    AND (c.row_class = 'extra' OR c.row_class IN {_OTHERS})
ORDER BY o_i, c_i
"""  # noqa: S608 - the fragments are this module's own


@dataclass(frozen=True, kw_only=True)
class Respelled:
    """Pairs of rows of a relation, by their numbers: the original's, and the copy's of another spelling.

    `facts` are both sides' values as columns `o_…`, `c_…`, in the order of `original`; `held` says which are held,
    `row_class` how the others differ, `unproven` which are held without their content being shown.
    """

    original: Any
    copy: Any
    held: Any
    unproven: Any
    row_class: Any
    facts: Any

    def __bool__(self) -> bool:
        """Whether there is any."""
        return len(self.original) > 0

    @property
    def files_held(self) -> Any:
        """Which pairs are held and no folders."""
        return self.held & (np.frombuffer(octets_of(self.facts["o_kind"]), np.uint8) != ord("d"))


def respelled(engine: Engine, relation: Path, rules: Rules, *, hollow: bool) -> Respelled:
    """Pair what is missing or differs with what the copy has under another spelling, each row once.

    `hollow`: the copy has hollow files, and which of these are is not known here: large ones are taken for such.
    Raises ComparisonError when memory or disk is short.
    """
    _load(engine, relation)
    found = engine.query(_CANDIDATES)
    engine.execute("DROP TABLE spelled")
    sides = {"o": _side(found, "o", hollow=False), "c": _side(found, "c", hollow=hollow)}
    answer = engine.query(SQL, parameters(rules), sides).sort_by("o_row")
    mine, other = integers(found["o_i"]), integers(found["c_i"])
    held = pc.is_null(answer["row_class"]).to_numpy(zero_copy_only=False)
    alone = found["alone"].to_numpy(zero_copy_only=False)
    first = _each_once(mine, other, held)
    rest = ~held & alone & ~np.isin(mine, mine[first]) & ~np.isin(other, other[first])
    chosen = np.sort(np.concatenate((first, _each_once(mine, other, rest))))
    return Respelled(
        original=mine[chosen],
        copy=other[chosen],
        held=held[chosen],
        unproven=answer["unproven"].to_numpy(zero_copy_only=False)[chosen],
        row_class=single(answer["row_class"].take(pa.array(chosen))),
        facts=found.take(pa.array(chosen)).combine_chunks(),
    )


def _load(engine: Engine, relation: Path) -> None:
    begin = 0
    how = "CREATE OR REPLACE TEMP TABLE spelled AS SELECT * FROM part"
    for rows in read_relation(relation, batch=1 << 17):
        beside = {"i": np.arange(begin, begin + len(rows)), "fold": folded(single(rows["path"]))}
        part = rows.drop_columns(["key_hi", "key_lo", "path"])
        for name, values in beside.items():
            part = part.append_column(name, pa.array(values))
        engine.execute(how, tables={"part": part})
        how, begin = "INSERT INTO spelled SELECT * FROM part", begin + len(rows)


def _side(found: Any, side: str, *, hollow: bool) -> Any:
    rows = np.arange(len(found))
    sizes = integers(found[f"{side}_size"])
    return pa.table(
        {
            "row": rows,
            "key_hi": rows.astype(np.uint64),
            "key_lo": np.zeros(len(found), np.uint64),
            "size": sizes,
            "mtime_ns": integers(found[f"{side}_mtime_ns"]),
            "kind": np.frombuffer(octets_of(found[f"{side}_kind"]), np.uint8),
            "target": found[f"{side}_target"],
            "digest": found[f"{side}_digest"],
            "hollow": hollow & (sizes >= HOLLOW_FROM),
        }
    )


def _each_once(mine: Any, other: Any, wanted: Any) -> Any:
    """Return the wanted pairs that are the first of both their rows."""
    places = np.flatnonzero(wanted)
    of_mine, of_other = (places[np.unique(side[places], return_index=True)[1]] for side in (mine, other))
    return np.intersect1d(of_mine, of_other)
