"""Exposure: what of an original no copy with valid evidence holds, and since when.

A row is held by a copy only where that copy's relation does not name it, whatever its verdict there: pending,
unknown or unhashed is not held. What one copy leaves out by its own patterns is not held by that copy either.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coverage_audit.comparison.kept import PairFacts, read_facts
from coverage_audit.comparison.leaving_out import LeavingOut
from coverage_audit.comparison.listed_rows import load_listed, paths_listed
from coverage_audit.comparison.loading import numbered
from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.terms import define_types, offset_ns, tell
from coverage_audit.comparison.types import Workspace
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import Exposure, RowClass, RowVerdict, Sample
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.instants import from_ns, to_ns
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import seed_id

_SAMPLES = 20
_OLD_SAMPLES = 5

_COLUMNS = """
    key_hi UBIGINT, key_lo UBIGINT, number BIGINT, in_relation BOOLEAN, class row_class, verdict row_verdict,
    kind entry_kind, size BIGINT, mtime BIGINT, earliest BIGINT, latest BIGINT, since BIGINT
"""

# Since when a copy lacks a row: the last audit that saw it held, where the copy lost it; else the earliest start, and
# where that is not known the time of the version, as far as that can be.
_TAKE = """
INSERT INTO lacked
SELECT
    key_hi, key_lo, i, true, row_class, verdict, o_kind, o_size, o_mtime_ns, earliest_ns, latest_ns,
    CASE WHEN went_back THEN coalesce(held_until_ns, least(latest_ns, version)) ELSE
        least(latest_ns, coalesce(earliest_ns, version)) END
FROM (
    SELECT *, CASE WHEN floor BETWEEN 0 AND latest_ns THEN floor END AS version
    FROM (
        SELECT *, within_reach(CASE WHEN row_class IN ('missing', 'newer') THEN o_mtime_ns ELSE c_mtime_ns END)
            - coalesce(getvariable('original_offset'), 0) AS floor
        FROM part WHERE seen AND row_class <> 'extra'
    )
)
"""

_BOTH = """
CREATE TEMP TABLE both_lack AS
SELECT e.* REPLACE (greatest(e.since, l.since) AS since)
FROM exposed e JOIN lacked l ON e.key_hi = l.key_hi AND e.key_lo = l.key_lo
"""

_FIGURES = """
SELECT
    count(*) FILTER (kind <> 'd') AS files,
    coalesce(sum(size) FILTER (kind = 'f'), 0)::BIGINT AS bytes,
    min(since) AS since
FROM exposed
"""

_SHOWN = f"""
SELECT number, in_relation, class::VARCHAR AS class, verdict::VARCHAR AS verdict,
    coalesce(size, 0) AS size, coalesce(mtime, 0) AS mtime, earliest, latest
FROM exposed WHERE kind <> 'd' ORDER BY size DESC, number LIMIT {_SAMPLES}
"""  # noqa: S608 - a number of this module
_OLDEST = _SHOWN.replace("ORDER BY size DESC", "ORDER BY mtime").replace(f"LIMIT {_SAMPLES}", f"LIMIT {_OLD_SAMPLES}")


@dataclass(frozen=True, kw_only=True)
class _Held:
    """One copy's relation, and what it leaves out beyond what the dataset does."""

    relation: Path
    facts: PairFacts


def exposure(original: Manifest, relations: Sequence[Path], *, leave_out: Sequence[str], work: Workspace) -> Exposure:
    """Return what none of these copies holds. `leave_out` are the dataset's own patterns: what they name is no loss.

    A copy of which neither times nor digests could be compared is taken to hold nothing.
    `relations` are the kept relations of the copies with valid evidence, all of this original's listing. Without
    any, all is exposed, since an instant that is not known. Raises ComparisonError if one of them is missing,
    damaged or of another listing: what it does not name would pass for held.
    """
    known = [_Held(relation=relation, facts=_checked_facts(relation, original, work)) for relation in relations]
    held = [one for one in known if not one.facts.unproven]
    with open_engine(work.memory, work.folder) as engine:
        define_types(engine)
        tell(engine, "original_offset", offset_ns(original.origin))
        if not held:
            _start_afresh(engine)
            load_listed(engine, original, LeavingOut(leave_out), None)
            engine.execute("ALTER TABLE lacked RENAME TO exposed")
        for number, one in enumerate(held):
            _load(engine, one, original, leave_out)
            if number:
                engine.execute(_BOTH)
                engine.execute("DROP TABLE exposed")
            engine.execute(f"ALTER TABLE {'both_lack' if number else 'lacked'} RENAME TO exposed")
        return _summed_up(engine, original, held[0].relation if held else None)


def _checked_facts(relation: Path, original: Manifest, work: Workspace) -> PairFacts:
    facts = read_facts(relation)
    if facts.seed_id != seed_id(work.seed):
        raise ComparisonError(f"{relation} was written with another seed: its rows cannot be found again.")
    if facts.original_ns != to_ns(original.origin.started):
        raise ComparisonError(f"{relation} is not of the listing of {original.origin.address} that is asked about.")
    return facts


def _start_afresh(engine: Engine) -> None:
    engine.execute("DROP TABLE IF EXISTS lacked")
    engine.execute(f"CREATE TEMP TABLE lacked ({_COLUMNS})")


def _load(engine: Engine, held: _Held, original: Manifest, leave_out: Sequence[str]) -> None:
    _start_afresh(engine)
    for part in numbered(held.relation):
        engine.execute(_TAKE, tables={"part": part})
    if held.facts.leave_out != tuple(leave_out):
        load_listed(engine, original, LeavingOut(leave_out), LeavingOut(held.facts.leave_out))


def _summed_up(engine: Engine, original: Manifest, relation: Path | None) -> Exposure:
    figures = engine.query(_FIGURES).to_pylist()[0]
    return Exposure(
        files=figures["files"],
        bytes=figures["bytes"],
        since=None if figures["since"] is None else from_ns(figures["since"]),
        samples=_named(engine.query(_SHOWN).to_pylist(), original, relation),
        oldest=_named(engine.query(_OLDEST).to_pylist(), original, relation),
    )


def _named(shown: Sequence[dict[str, Any]], original: Manifest, relation: Path | None) -> tuple[Sample, ...]:
    known = paths_at(relation, [row["number"] for row in shown if row["in_relation"]]) if relation else {}
    listed = paths_listed(original, [row["number"] for row in shown if not row["in_relation"]])
    return tuple(
        Sample(
            path=(known if row["in_relation"] else listed)[row["number"]],
            row_class=RowClass(row["class"]),
            verdict=RowVerdict(row["verdict"]),
            size=row["size"],
            mtime_ns=row["mtime"],
            earliest_ns=row["earliest"],
            latest_ns=row["latest"],
        )
        for row in shown
    )
