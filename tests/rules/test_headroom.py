"""Headroom: when a volume is full at its present pace, and what is said where nobody can know yet."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import GapKind, PinState
from coverage_audit.evidence.room import RoomHistory
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedDataset
from tests.builders.cases import a_case, a_comparison, a_gap, an_identity, judged, judged_dataset
from tests.builders.rooms import CAPACITY, DAY, GB, PLENTY, a_history, roomy, shrinking, steady, with_room
from tests.builders.station import POLICY, SEEN, changed

ASKS = replace(POLICY, headroom=timedelta(days=60))
HOLDS, FAILS, UNKNOWN, SEEN_ONLY = (
    Answer.CONFORMITY,
    Answer.NONCONFORMITY,
    Answer.UNVERIFIED,
    Answer.OBSERVATION,
)


def heron(free: int = PLENTY, history: RoomHistory | None = None, *, nights: int = 90, **facts: Any) -> DatasetCase:
    """All have room; heron shows so much tonight, and this history."""
    case = roomy(a_case(policy=ASKS))
    first, *rest = case.copies
    key = first.place.volume.key
    past = history or a_history(key, nights=nights)
    others = tuple(room for room in case.rooms if room.volume != key)
    return replace(
        case, copies=(replace(first, place=with_room(first.place, free, **facts)), *rest), rooms=(*others, past)
    )


def filling(free: Callable[[int], int], *, nights: int = 90, **facts: Any) -> DatasetCase:
    """Heron's free room night by night, tonight's with it."""
    return heron(free(0), a_history(heron().copies[0].place.volume.key, free, nights=nights), **facts)


def on_heron(case: DatasetCase) -> Finding:
    (found,) = [one for one in judged_dataset(case).findings if one.id == "headroom:field-recordings@heron:pool"]
    return found


def noisy(by: float, now: int, noise: int, seed: int = 0) -> Callable[[int], int]:
    chance = random.Random(seed)
    drawn = [chance.randint(-noise, noise) for _ in range(400)]
    return lambda ago: int(now + by * ago + drawn[ago])


def test_nothing_is_asked_where_the_policy_asks_for_no_headroom() -> None:
    dataset = judged_dataset(replace(heron(), policy=POLICY))
    assert [one for one in dataset.findings if one.rule == "headroom"] == []


def test_each_volume_on_which_the_dataset_lies_is_answered_for_once() -> None:
    dataset: JudgedDataset = judged_dataset(heron())
    found = [one for one in dataset.findings if one.rule == "headroom"]
    assert [one.subject.partition("@")[2] for one in found] == ["kestrel:main", "heron:pool", "curlew:store"]
    assert {one.answer for one in found} == {HOLDS}
    assert dataset.conclusion is Conclusion.CONFORMING


def test_a_volume_that_is_full_before_the_headroom_ends_fails() -> None:
    case = filling(shrinking(2 * GB, 100 * GB))
    found = on_heron(case)
    assert found.answer is FAILS
    assert found.required == "not full within 60 days"
    assert "full 2027-01-14; " in found.measured  # fifty nights of 2 GB each
    assert "100 GB of 1.0 TB free, +2.0 GB a day" in found.measured
    assert "less than the 60 days asked for have been left since about 2026-11-15" in found.message
    assert judged_dataset(case).conclusion is Conclusion.NONCONFORMING


def test_a_volume_that_is_full_only_later_conforms_and_says_when() -> None:
    found = on_heron(filling(shrinking(2 * GB, 200 * GB)))
    assert (found.answer, "2027-03-05" in found.message) == (HOLDS, True)
    assert "less than the 60 days asked for are left from about 2027-01-04 on" in found.message


def test_where_only_the_early_end_of_the_interval_is_too_soon_that_is_observed() -> None:
    found = on_heron(filling(noisy(1 * GB, 66 * GB, 12 * GB), nights=40))
    assert found.answer is SEEN_ONLY
    assert "that it is within 60 days cannot be ruled out" in found.message


def test_what_is_full_fails_whatever_its_history() -> None:
    assert on_heron(heron(0, nights=0)).message == "heron:pool: it is full: 0 bytes are free."
    found = on_heron(heron(nights=2, inodes=1000, inodes_free=0))
    assert (found.answer, "none of its 1000 inodes" in found.message) == (FAILS, True)


def test_inodes_run_out_like_bytes() -> None:
    case = filling(steady, inodes=100_000, inodes_free=500)
    history = case.rooms[-1]
    days = tuple(
        replace(day, inodes=100_000, inodes_free=500 + 50 * ago)
        for day, ago in zip(history.days, range(90, 0, -1), strict=True)
    )
    found = on_heron(replace(case, rooms=(*case.rooms[:-1], replace(history, days=days))))
    assert found.answer is FAILS
    assert "its inodes are used up: 2026-12-05" in found.message


def test_inodes_that_are_made_as_they_are_needed_are_no_limit() -> None:
    case = filling(steady, inodes=5_000, inodes_free=10)
    history = case.rooms[-1]
    days = tuple(
        replace(day, inodes=10_000 - 50 * number, inodes_free=5_000 - 50 * number)
        for number, day in enumerate(history.days)
    )
    assert on_heron(replace(case, rooms=(*case.rooms[:-1], replace(history, days=days)))).answer is HOLDS


def lacks(case: DatasetCase, missing: Tally, **more: Any) -> DatasetCase:
    first, *rest = case.copies
    return replace(case, copies=(replace(first, comparison=a_comparison(missing=missing, **more)), *rest))


def test_what_a_copy_lacks_must_fit_into_what_is_free() -> None:
    missing = Tally(files=9, bytes=10 * GB)
    found = on_heron(lacks(heron(9 * GB), missing))
    assert found.answer is FAILS
    assert found.message == "heron:pool: 10.0 GB are still to come to it, and only 9.0 GB are free."
    assert on_heron(lacks(heron(11 * GB, a_history(heron().copies[0].place.volume.key, lambda _: 11 * GB)), missing)
                    ).answer is HOLDS  # fmt: skip
    assert on_heron(lacks(heron(9 * GB), missing, under_old_name=missing)).kind != "overfull"
    few = on_heron(lacks(heron(inodes=1000, inodes_free=8), missing))
    assert "9 files are still to come to it, and only 8 inodes are free" in few.message


def test_in_the_first_days_of_a_volume_it_is_not_known_yet_and_nothing_fails() -> None:
    for nights in range(4):
        case = roomy(a_case(policy=ASKS), nights=nights)
        found = on_heron(case)
        assert found.answer is SEEN_ONLY
        more = {0: "4 more days of history are", 3: "1 more day of history is"}.get(nights, "")
        assert f"it is full is not known yet: {more}" in found.message
        assert judged_dataset(case).conclusion is Conclusion.CONFORMING
    assert on_heron(roomy(a_case(policy=ASKS), nights=4)).answer is HOLDS


def test_where_readings_are_missing_though_there_was_time_it_cannot_be_told() -> None:
    history = a_history(heron().copies[0].place.volume.key, nights=20)
    found = on_heron(heron(history=replace(history, days=history.days[-3:])))
    assert found.answer is UNKNOWN
    assert "1 more day of history is needed, and it was seen first 20 days ago" in found.message


def test_a_volume_that_was_not_seen_is_unverified_and_its_history_does_not_stand_in_for_it() -> None:
    case = heron()
    first, *rest = case.copies
    for kind in (GapKind.UNREACHABLE, GapKind.HOST_KEY):
        dark = replace(first.place, volume_facts=a_gap(kind=kind), identity=a_gap(kind=kind))
        assert on_heron(replace(case, copies=(replace(first, place=dark), *rest))).answer is UNKNOWN
    other = replace(first.place, identity=an_identity(first.place.volume, PinState.CHANGED, "another"))
    assert on_heron(replace(case, copies=(replace(first, place=other), *rest))).answer is UNKNOWN


@pytest.mark.parametrize("at", [SEEN + DAY, SEEN + 300 * DAY])
def test_a_reading_that_bears_a_time_to_come_is_no_evidence(at: datetime) -> None:
    """The auditor's clock was set back since: what it noted before neither hides tonight nor stands in for it."""
    case = heron()
    first, *rest = case.copies
    history = a_history(first.place.volume.key)
    ahead = replace(history, days=(*history.days, replace(history.days[-1], at=at)))
    assert on_heron(heron(0, ahead)).measured == "0 B of 1.0 TB free"
    told = filling(shrinking(GB, 30 * GB))
    leak = replace(told, rooms=tuple(_with_one_at(room, at) for room in told.rooms))
    assert on_heron(leak).measured == on_heron(told).measured

    device = replace(first.place.device, may_be_off=3 * DAY)
    dark = replace(first, place=replace(first.place, device=device, volume_facts=a_gap(), identity=a_gap()))
    old = replace(ahead, days=(*(day for day in ahead.days if day.at < SEEN - 9 * DAY), ahead.days[-1]))
    others = tuple(room for room in case.rooms if room.volume != history.volume)
    assert on_heron(replace(case, copies=(dark, *rest), rooms=(*others, old))).answer is UNKNOWN


def _with_one_at(room: RoomHistory, at: datetime) -> RoomHistory:
    return replace(room, days=(*room.days, replace(room.days[-1], at=at, free=PLENTY)))


def test_a_box_that_may_be_off_is_told_of_by_what_it_showed_last() -> None:
    case = heron()
    first, *rest = case.copies
    for allowed, answer in ((3 * DAY, HOLDS), (timedelta(hours=20), UNKNOWN)):
        device = replace(first.place.device, may_be_off=allowed)
        dark = replace(first.place, device=device, volume_facts=a_gap(), identity=a_gap())
        assert on_heron(replace(case, copies=(replace(first, place=dark), *rest))).answer is answer


def test_a_shelf_drive_has_as_long_for_its_history_as_its_turns_take() -> None:
    case = heron(nights=0)
    first, *rest = case.copies
    device = replace(first.place.device, access=ShelfAccess())
    key = first.place.volume.key
    for turns, answer in ((2, SEEN_ONLY), (9, UNKNOWN)):
        days = tuple(replace(a_history(key).days[-1], at=SEEN - turns * 35 * DAY + n * DAY) for n in range(2))
        past = RoomHistory(volume=key, first=days[0].at, days=days)
        on_shelf = replace(first, place=replace(first.place, device=device), copy=replace(first.copy, max_age=35 * DAY))
        found = on_heron(replace(case, copies=(on_shelf, *rest), rooms=(*case.rooms[:-1], past)))
        assert found.answer is answer


def test_a_volume_that_shows_no_room_is_unverified() -> None:
    case = heron()
    first, *rest = case.copies
    for lost in ({"capacity": None, "free": None}, {"free": None}):
        facts = changed(first.place.volume_facts, **lost)
        place = replace(first.place, volume_facts=facts)
        assert on_heron(replace(case, copies=(replace(first, place=place), *rest))).answer is UNKNOWN


def test_a_copy_that_was_not_compared_leaves_open_whether_what_it_lacks_fits() -> None:
    case = heron()
    first, *rest = case.copies
    found = on_heron(replace(case, copies=(replace(first, comparison=None, gap=a_gap()), *rest)))
    assert (found.answer, "it was not compared" in found.message) == (UNKNOWN, True)


def test_a_larger_drive_keeps_the_pace_and_takes_its_own_limit() -> None:
    case = filling(shrinking(2 * GB, 100 * GB))
    history = case.rooms[-1]
    halved = tuple(replace(day, capacity=CAPACITY // 2) for day in history.days)
    tonight = with_room(case.copies[0].place, 100 * GB + CAPACITY // 2)
    copies = (replace(case.copies[0], place=tonight), *case.copies[1:])
    found = on_heron(replace(case, copies=copies, rooms=(*case.rooms[:-1], replace(history, days=halved))))
    assert (found.answer, "+2.0 GB a day" in found.measured) == (HOLDS, True)


@pytest.mark.parametrize("at", [0, 1, 3, 8])
@pytest.mark.parametrize("nights", [5, 8, 15, 25, 90, 365])
@given(noise=st.sampled_from([0, GB // 10, GB]), seed=st.integers(0, 50))
@settings(max_examples=8, deadline=None)
def test_one_large_move_raises_no_alarm(nights: int, at: int, noise: int, seed: int) -> None:
    """A third of the volume comes at once, and leaves little: nothing grows for that."""
    before = min(at, nights - 1)
    base = noisy(0, 0, noise, seed)
    found = on_heron(filling(lambda ago: 100 * GB + base(ago) + (350 * GB if ago > before else 0), nights=nights))
    assert found.answer in {HOLDS, SEEN_ONLY}, found.message


@pytest.mark.parametrize("nights", [6, 10, 20, 120])
def test_a_leak_is_found_although_much_was_moved_in(nights: int) -> None:
    found = on_heron(filling(lambda ago: 40 * GB + GB * ago + (350 * GB if ago > nights // 2 else 0), nights=nights))
    assert (found.answer, "+1.0 GB a day" in found.measured) == (FAILS, True)


def test_the_audit_tells_the_room_of_every_volume_whether_or_not_it_is_asked_for() -> None:
    audit = judged(replace(heron(), policy=POLICY))
    assert [str(room.volume) for room in audit.rooms] == ["kestrel:main", "heron:pool", "curlew:store"]
    assert {room.days for room in audit.rooms} == {91}
