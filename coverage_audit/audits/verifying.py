"""Verify: read the content of copies after they were compared, as much as the night's time allows.

First what is known to be spoilt, of all copies; then the samples; then what is to be read whole. So a large copy that
is read whole takes no time from a sample. What is left goes on in the next audit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache, partial

from coverage_audit.audits.casing import CaseOutcome
from coverage_audit.audits.comparing import CopyOutcome
from coverage_audit.audits.content_known import Known, Reading, Verifications, known_of, verified
from coverage_audit.audits.content_pair import pair_remembered, pair_to_read
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.reading_all import ReadingAll, with_end
from coverage_audit.audits.rereading import read_spoilt
from coverage_audit.audits.sampling import Sampling, a_seed, fallen
from coverage_audit.errors import CollectionError, ComparisonError, EvidenceError
from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.content_shown import USUAL, terms_of


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What somebody asked for: a sample `now`, whether one is due or not; that `all` is read."""

    now: bool = False
    all: bool = False


NO_WISH = Wish()


@dataclass(kw_only=True)
class _Place:
    """One copy of an audit: what is asked of its content, and whether and how it can be read.

    `is_seen`: both sides were listed; `is_upheld`: its last sample was held against these listings.
    """

    case: DatasetCase
    outcome: CopyOutcome
    terms: Verify | None
    copy: Known
    original: Known
    seed: bytes
    reading: Reading | None = None
    is_seen: bool = False
    is_upheld: bool = False


def with_content(
    estate: Estate,
    cases: Sequence[CaseOutcome],
    parts: Parts,
    *,
    started: datetime,
    wish: Wish = NO_WISH,
    book: Verifications | None = None,
) -> tuple[CaseOutcome, ...]:
    """Read what is to be read of the copies' content, and add to each case what is known of it now. Raises LedgerError.

    What is known is the ledger's, or that of another `book`, and is kept there. Whatever goes wrong with a box, or with
    the auditor's own disk, costs this copy its reading and no other.
    """
    parts = replace(parts, usable_digests=cache(parts.usable_digests))
    kept_in = parts.ledger.verifications if book is None else book
    places = [_places(estate, case, parts, wish, kept_in) for case in cases]
    every = [place for of_case in places for place in of_case]
    time = ContentTime(limits=estate.limits)
    for place in every:
        if _is_to_be_read(place, wish):
            _guarded(place, parts, partial(_prepare, estate=estate, parts=parts, started=started))
    readable = [place for place in every if place.reading is not None]
    for step in (_reread, _sample, _read_all):
        for place in readable:
            _guarded(place, parts, partial(step, time=time, parts=parts, wish=wish))
    _doubt(every)
    _foresee(readable, time, parts)
    return tuple(_with(case, of_case) for case, of_case in zip(cases, places, strict=True))


def _places(estate: Estate, case: CaseOutcome, parts: Parts, wish: Wish, book: Verifications) -> list[_Place]:
    dataset, policy, lineage = case.case.dataset, case.case.policy, lineage_of(estate)
    original, seed = known_of(dataset, dataset.original, lineage, parts, book), a_seed()
    asked = USUAL if wish.now or wish.all else None
    return [
        _Place(
            case=case.case,
            outcome=replace(outcome, evidence=evidence),
            terms=terms_of(evidence.copy, policy) or asked,
            copy=known_of(dataset, evidence.copy.address, lineage, parts, book),
            original=original,
            seed=seed,
        )
        for outcome, evidence in zip(case.outcomes, case.case.copies, strict=True)
    ]


def _is_to_be_read(place: _Place, wish: Wish) -> bool:
    known = place.copy.verification
    if wish.now or wish.all or place.copy.spoilt or place.original.spoilt:
        return True
    if known.whole is not None and known.whole.ended is None:
        return True
    return place.terms is not None


def _prepare(place: _Place, *, estate: Estate, parts: Parts, started: datetime) -> None:
    pair = pair_to_read(estate, place.case, place.outcome, parts, started=started)
    place.is_seen = pair is not None
    if isinstance(pair, Gap):
        place.copy.why_not = pair
    elif pair is not None:
        place.reading = Reading(pair=pair, copy=place.copy, original=place.original, started=started)
    elif place.terms is not None:
        _hold_unread(place, place.terms, estate=estate, parts=parts, started=started)


def _hold_unread(place: _Place, terms: Verify, *, estate: Estate, parts: Parts, started: datetime) -> None:
    """Hold the last sample of a copy against its listing where the original was not seen: nothing is read for it."""
    pair = pair_remembered(estate, place.case, place.outcome, parts, started=started)
    if pair is None:
        return
    place.is_seen = True
    reading = Reading(pair=pair, copy=place.copy, original=place.original, started=started)
    no_time = ContentTime(limits=replace(estate.limits, content_time=timedelta(0)))
    unasked = replace(parts, look_again=lambda *_: ())
    Sampling(reading=reading, terms=terms, time=no_time, parts=unasked, seed=place.seed).uphold(parts.clock())
    place.is_upheld = True


def _reread(place: _Place, *, time: ContentTime, parts: Parts, wish: Wish) -> None:
    del wish  # it is done every night
    if place.reading is not None:
        read_spoilt(place.reading, time, parts)


def _sample(place: _Place, *, time: ContentTime, parts: Parts, wish: Wish) -> None:
    if place.reading is not None and place.terms is not None:
        sampling = Sampling(reading=place.reading, terms=place.terms, time=time, parts=parts, seed=place.seed)
        sampling.run(now=wish.now or wish.all)
        place.is_upheld = True


def _read_all(place: _Place, *, time: ContentTime, parts: Parts, wish: Wish) -> None:
    if place.reading is not None:
        whole = ReadingAll(reading=place.reading, time=time, parts=parts)
        if wish.all:
            whole.ask(place.seed)
        whole.run()


def _guarded(place: _Place, parts: Parts, step: Callable[[_Place], None]) -> None:
    try:
        step(place)
    except (CollectionError, ComparisonError, EvidenceError) as error:
        subject = str(place.copy.address)
        place.copy.why_not = Gap(subject=subject, kind=GapKind.STORAGE, detail=str(error), at=parts.clock())
        place.reading, place.is_seen = None, True


def _doubt(places: Iterable[_Place]) -> None:
    """Let no sample speak for listings that it could not be held against."""
    for place in places:
        last = place.copy.verification.last
        if last is not None and place.terms is not None and place.is_seen and not place.is_upheld:
            place.copy.keep(replace(place.copy.verification, last=fallen(last)))


def _foresee(places: Iterable[_Place], time: ContentTime, parts: Parts) -> None:
    """Say of each reading of all when it should be through; those on one device share its time."""
    going = [
        (place, place.copy.verification.whole, place.reading.pair.copy.clock)
        for place in places
        if place.reading is not None
    ]
    open_ones = [(place, whole, device) for place, whole, device in going if whole is not None and whole.ended is None]
    for place, whole, device in open_ones:
        share = 1 / sum(other is device or other == device for _, _, other in open_ones)
        place.copy.keep(
            replace(place.copy.verification, whole=with_end(whole, share, time.limits.content_time, parts.clock()))
        )


def _with(case: CaseOutcome, places: Sequence[_Place]) -> CaseOutcome:
    copies = tuple(
        replace(evidence, verified=verified(place.copy))
        for evidence, place in zip(case.case.copies, places, strict=True)
    )
    original = case.case.original
    if places:
        known = places[0].original
        original = replace(original, spoilt=known.shown, spoilt_files=known.spoilt_files)
    return replace(case, case=replace(case.case, copies=copies, original=original))
