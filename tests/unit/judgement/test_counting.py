"""Three-valued counting, checked against every way in which the unknown may turn out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.model import Device, Medium, SiteId
from coverage_audit.judgement.counting import Holding, Holdings, Span, medium_doubt
from coverage_audit.judgement.independence import Apart, Relation, Relations
from coverage_audit.judgement.verdict import Answer, Standing
from tests.builders.cases import a_place, device_facts, volume_facts
from tests.builders.station import SEEN, a_device, a_volume, an_address

SITES = ("station", "barn")


@st.composite
def some_holdings(draw: st.DrawFn) -> Holdings:
    size = draw(st.integers(1, 4))
    places = [_holding(draw, number) for number in range(size)]
    pairs = {pair: Relation(apart=draw(st.sampled_from(list(Apart)))) for pair in combinations(range(size), 2)}
    return Holdings(places=tuple(places), relations=Relations(pairs=pairs))


def _holding(draw: st.DrawFn, number: int) -> Holding:
    volume = a_volume(
        f"box{number}:v", medium=draw(st.sampled_from([Medium.HDD, Medium.SSD])), offline=draw(st.booleans())
    )
    device: Device = a_device(f"box{number}", volume, site=SiteId(draw(st.sampled_from(SITES))))
    standing = draw(st.sampled_from([Standing.PROVEN, Standing.STALE, Standing.UNVERIFIED]))
    return Holding(
        address=an_address(f"box{number}:v"),
        place=a_place(device),
        standing=standing,
        reason="",
        seen_at=SEEN,
        attached=draw(st.booleans()),
    )


def every_way(holdings: Holdings) -> Iterator[Holdings]:
    """Settle everything that is unknown, in every way."""
    open_places = [i for i, holding in enumerate(holdings.places) if holding.standing is Standing.UNVERIFIED]
    open_pairs = [pair for pair, found in holdings.relations.pairs.items() if found.apart is Apart.NOT_SHOWN]
    attached = [i for i, holding in enumerate(holdings.places) if holding.attached]
    for good in product([True, False], repeat=len(open_places)):
        for apart in product([True, False], repeat=len(open_pairs)):
            for off in product([True, False], repeat=len(attached)):
                places = list(holdings.places)
                for i, proven in zip(open_places, good, strict=True):
                    places[i] = replace(places[i], standing=Standing.PROVEN if proven else Standing.STALE)
                for i, away in zip(attached, off, strict=True):
                    places[i] = replace(places[i], attached=not away)
                pairs = dict(holdings.relations.pairs)
                for pair, shown in zip(open_pairs, apart, strict=True):
                    pairs[pair] = Relation(apart=Apart.SHOWN if shown else Apart.ONE)
                yield Holdings(places=tuple(places), relations=Relations(pairs=pairs))


def largest(numbers: list[int], holdings: Holdings) -> int:
    return max(
        len(subset)
        for size in range(len(numbers) + 1)
        for subset in combinations(numbers, size)
        if all(holdings.relations.between(*pair).apart is Apart.SHOWN for pair in combinations(subset, 2))
    )


def counted(holdings: Holdings, criterion: str) -> int:
    """Count plainly where nothing is unknown."""
    places = holdings.places
    proven = [i for i, holding in enumerate(places) if holding.standing is Standing.PROVEN]
    if criterion == "media":
        return len({places[i].place.volume.medium for i in proven})
    if criterion == "offsite":
        home = places[0].place.device.site
        proven = [
            i
            for i in proven
            if i and places[i].place.device.site != home and holdings.relations.between(0, i).apart is Apart.SHOWN
        ]
    if criterion == "offline":
        proven = [i for i in proven if places[i].place.volume.offline and not places[i].attached]
    return largest(proven, holdings)


@settings(deadline=None)
@given(some_holdings(), st.sampled_from(["copies", "media", "offsite", "offline"]), st.integers(1, 4))
def test_the_answer_is_that_of_all_assignments_of_the_unknown(
    holdings: Holdings, criterion: str, required: int
) -> None:
    outcomes = {counted(way, criterion) >= required for way in every_way(holdings)}
    expected = {
        frozenset({True}): Answer.CONFORMITY,
        frozenset({False}): Answer.NONCONFORMITY,
        frozenset({True, False}): Answer.UNVERIFIED,
    }[frozenset(outcomes)]
    span: Span = getattr(holdings, criterion)()

    assert span.answer(required) is expected


def test_a_medium_that_the_drive_speaks_against_is_not_believed() -> None:
    ssd, hdd = a_volume("heron:pool", medium=Medium.SSD), a_volume("heron:pool", medium=Medium.HDD)
    for volume, turns in ((ssd, True), (hdd, False)):
        place = replace(a_place(a_device("heron", volume)), volume_facts=volume_facts(volume, rotational=turns))

        assert medium_doubt(place, rehearsal=False) is not None
        assert medium_doubt(place, rehearsal=True) is None


def test_a_medium_of_which_the_drive_says_nothing_stands_as_declared() -> None:
    volume = a_volume("heron:pool", medium=Medium.SSD)
    silent = replace(a_place(a_device("heron", volume)), volume_facts=volume_facts(volume, rotational=None))
    guest = replace(
        a_place(a_device("heron", volume)),
        volume_facts=volume_facts(volume, rotational=True),
        device_facts=device_facts("heron", is_guest=True),
    )

    assert medium_doubt(silent, rehearsal=False) is None
    assert medium_doubt(guest, rehearsal=False) is None
