"""Stage 2 of a comparison: since when each row differs, carried from audit to audit, and what that means.

A difference that was there at the last comparison keeps its start; a new one gets it from the kept listings of the
original, as an interval. Nothing here reads a clock, and the rows by the million stay in the engine and in files.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

from coverage_audit.comparison.fallen import held_back_missing, load_fallen, still_held
from coverage_audit.comparison.history import Listing, kept_listings, place_all
from coverage_audit.comparison.keeping import Mind, write_kept
from coverage_audit.comparison.loading import load_before, load_differing
from coverage_audit.comparison.looking import ask_births, drop_raced
from coverage_audit.comparison.means import not_compared
from coverage_audit.comparison.meeting import meet
from coverage_audit.comparison.pair import Pair, pair_of
from coverage_audit.comparison.starts import earliest_starts
from coverage_audit.comparison.summing import Sums, holds_newer, samples, sum_up, without
from coverage_audit.comparison.taken_over import not_taken_over
from coverage_audit.comparison.taking_up import Seen, go_on, look_for
from coverage_audit.comparison.terms import define
from coverage_audit.comparison.types import Earlier, Look, Matched, Workspace
from coverage_audit.comparison.verdicts import begin_judging, end_grace
from coverage_audit.evidence.difference import CopyComparison, RowVerdict, TakeUp
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.instants import from_ns
from coverage_audit.reckoning.keeping_up import lacks_most, takes_nothing_up


def carry(
    matched: Matched,
    earlier: Earlier | None,
    *,
    now: datetime,
    look: Look | None,
    max_age: timedelta,
    work: Workspace,
) -> CopyComparison:
    """Return what a copy holds, with every difference's start and verdict; the rows are kept in a new relation.

    Raises ComparisonError when evidence of earlier audits that should be there is missing or damaged, when the clock
    went back since the last comparison, and when memory or disk is short.
    """
    pair = pair_of(matched, earlier, now, max_age, work.seed)
    listings = kept_listings(earlier, pair.terms.started)
    with open_engine(work.memory, work.folder) as engine:
        _place(engine, pair, listings, work)
        seen = _what_became(engine, pair, work)
        drop_raced(engine, look, matched.relation)
        load_fallen(engine, matched.fallen)
        begin_judging(engine, pair.terms, first_ns=pair.first_ns, last_work_ns=pair.last_work)
        ask_births(engine, look, matched.relation)
        take_up = _take_up(pair, seen, sum_up(engine))
        held_back = held_back_missing(engine)
        missing = without(without(matched.missing, matched.missing_blind), held_back)
        most = lacks_most(matched.total, missing, matched.under_old_name)
        if most or takes_nothing_up(take_up, now=now, max_age=max_age):
            end_grace(engine)
        relation = work.folder / f"carried-{uuid4().hex}.parquet"
        write_kept(engine, matched.relation, relation, pair.facts_of_now(work.seed), _mind(engine, pair))
        comparison = _summed_up(engine, pair, take_up, listings, relation)
        kept, unclear = not_taken_over(engine, matched, pair.terms, work.seed)
        former = None if matched.fallen is None else still_held(engine) + kept
        return replace(comparison, held_back_missing=held_back, former=former, former_unclear=unclear)


def _place(engine: Engine, pair: Pair, listings: tuple[Listing, ...], work: Workspace) -> None:
    """Give every difference its start."""
    define(engine, pair.terms)
    load_differing(engine, pair.matched, pair.terms)
    load_before(engine, pair.earlier.relation if pair.earlier else None, pair.facts)
    meet(engine, pair.facts.copy_ns if pair.facts else None)
    place_all(engine, listings, pair.terms, reference=pair.reference, relation=pair.matched.relation, seed=work.seed)


def _what_became(engine: Engine, pair: Pair, work: Workspace) -> Seen:
    """Look for what was lacking at the last comparison. What is left out only now is not taken up."""
    if pair.earlier is None or pair.earlier.relation is None:
        return Seen()
    blind = pair.matched.blind_original
    seen = look_for(engine, pair.earlier.relation, pair.matched.original.file, work.seed, blind_original=blind)
    return seen if pair.same_scope else Seen()


def _take_up(pair: Pair, seen: Seen, sums: Sums) -> TakeUp:
    """Return the record of what the copy takes up, with this audit in it."""
    unsettled = {RowVerdict.EXTRA, RowVerdict.UNKNOWN, RowVerdict.HELD_BACK}
    lacking = any(count for verdict, count in sums.rows.items() if verdict not in unsettled)
    nothing_lacks = not (lacking or pair.matched.blind_original or pair.matched.blind_copy)
    before = pair.earlier.take_up if pair.earlier else TakeUp()
    progress = nothing_lacks or pair.holds_what_came_since()
    return go_on(before, seen, now=pair.now, progress=progress, lacking=lacking)


def _mind(engine: Engine, pair: Pair) -> Mind | None:
    if pair.earlier is None or pair.earlier.relation is None:
        return None
    unseen = engine.query("SELECT i FROM unseen")["i"].to_numpy()
    return Mind(
        relation=pair.earlier.relation,
        aside=engine.query("SELECT i FROM put_aside")["i"].to_numpy(),
        unseen=unseen if pair.matched.blind_original else unseen[:0],
        original=pair.matched.original,
    )


def _summed_up(
    engine: Engine, pair: Pair, take_up: TakeUp, listings: tuple[Listing, ...], relation: Path
) -> CopyComparison:
    """Say what it adds up to. Rows that raced the walk are held after all."""
    matched, sums = pair.matched, sum_up(engine)
    same = matched.same + without(matched.missing + matched.changed, sums.missing + sums.changed)
    starts = earliest_starts(engine, matched.relation, pair.terms, matched.total.files)
    undecided = sums.rows[RowVerdict.BETWEEN]
    last_work = matched.last_work_ns if pair.last_work is None else pair.last_work
    return CopyComparison(
        original_at=matched.original.origin.started,
        copy_at=matched.copy.origin.started,
        mode=matched.mode,
        original=matched.total,
        same=same,
        missing=sums.missing,
        changed=sums.changed,
        extra=sums.extra,
        left_out=matched.left_out,
        left_out_by=matched.left_out_by,
        counting=sums.of(RowVerdict.COUNTS),
        pending=sums.of(RowVerdict.PENDING),
        between=sums.of(RowVerdict.BETWEEN),
        own=sums.of(RowVerdict.ITS_OWN),
        content=sums.of(RowVerdict.CONTENT),
        unhashed=sums.of(RowVerdict.UNHASHED),
        unknown=sums.of(RowVerdict.UNKNOWN),
        held_back=sums.of(RowVerdict.HELD_BACK),
        went_back=sums.went_back,
        counting_rows=sums.rows[RowVerdict.COUNTS],
        between_rows=undecided,
        pending_rows=sums.rows[RowVerdict.PENDING],
        folders_missing=matched.folders_missing,
        under_old_name=matched.under_old_name,
        holds_newer=holds_newer(engine, newest_held=pair.newest_held, holds_files=same.files > 0),
        earliest_start=starts.earliest,
        earliest_start_trimmed=starts.trimmed,
        sticking_out=starts.sticking_out,
        between_missing_audit=from_ns(listings[0].started) if listings and undecided else None,
        last_work=None if last_work is None else from_ns(last_work),
        take_up=take_up,
        first_audit=pair.earlier is None,
        blind_original=matched.blind_original,
        blind_copy=matched.blind_copy,
        unproven=matched.unproven,
        hollow=matched.hollow,
        not_compared=not_compared(matched.original.origin, matched.copy.origin),
        sights=matched.sights,
        samples=samples(engine, matched.relation),
        relation=relation,
    )
