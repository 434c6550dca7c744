"""The laws of the judgement: a fault more or a piece of evidence less never turns anything into conforming."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any
from urllib.parse import unquote

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.criteria import Keep, Rhythm
from coverage_audit.evidence.facts import DeviceFacts, Gap, PinnedFact, VolumeFacts
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.identity import check_identity
from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.builders.cases import (
    a_case,
    a_copy,
    a_gap,
    a_place,
    device_facts,
    judged,
    volume_facts,
)
from tests.builders.rooms import GB, a_history, roomy, shrinking, with_room
from tests.builders.spoiling import Step, all_well, audited, steps
from tests.builders.station import (
    HERON,
    POLICY,
    RECORDINGS,
    changed,
)

POLICIES = st.builds(
    lambda copies, media, offsite, keep, rhythm, dump_size, immutable, shrinkage: replace(
        POLICY,
        copies=copies,
        media=media,
        offsite=offsite,
        keep=keep,
        rhythm=rhythm,
        dump_size=dump_size,
        immutable=immutable,
        shrinkage=shrinkage,
    ),
    st.integers(1, 4),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, Keep(daily=1), Keep(daily=3, monthly=2), Keep(span=timedelta(days=1)), Keep(weekly=1)]),
    st.sampled_from([None, Rhythm(every=timedelta(days=1)), Rhythm(every=timedelta(hours=6)), Rhythm()]),
    st.sampled_from([None, 0.5]),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, 0.1]),
)


def test_the_case_from_which_the_laws_start_conforms() -> None:
    assert audited(all_well()).conclusion is Conclusion.CONFORMING
    firm = replace(all_well(), policy=replace(POLICY, immutable=1))
    assert audited(firm).conclusion is Conclusion.CONFORMING


@settings(max_examples=250, deadline=None)
@given(POLICIES, st.lists(steps(), min_size=1, max_size=6))
def test_a_fault_more_or_evidence_less_never_turns_a_conclusion_into_conforming(
    policy: Any, changes: list[Step]
) -> None:
    case = replace(all_well(), policy=policy)
    audit = audited(case)
    dataset, estate = audit.datasets[0].conclusion, audit.conclusion
    for change in changes:
        case = change(case)
        audit = audited(case)
        if dataset is not Conclusion.CONFORMING:
            assert audit.datasets[0].conclusion is not Conclusion.CONFORMING
        if estate is not Conclusion.CONFORMING:
            assert audit.conclusion is not Conclusion.CONFORMING
        dataset, estate = audit.datasets[0].conclusion, audit.conclusion


@settings(max_examples=120, deadline=None)
@given(st.integers(1, 4), st.lists(steps(), min_size=1, max_size=6))
def test_a_copy_that_is_made_of_another_obeys_the_same_law(copies: int, changes: list[Step]) -> None:
    """What is known against its source lowers it; to lose sight of the source does not raise it again."""
    case = replace(all_well(), policy=replace(POLICY, copies=copies, media=None, offsite=None))
    source, second, *rest = case.copies
    made = replace(second, copy=replace(second.copy, taken_from=source.copy.address))
    case = replace(case, copies=(source, made, *rest))
    conclusion = audited(case).datasets[0].conclusion
    for change in changes:
        case = change(case)
        dataset = audited(case).datasets[0]
        if conclusion is not Conclusion.CONFORMING:
            assert dataset.conclusion is not Conclusion.CONFORMING
        conclusion = dataset.conclusion


ROOMS: dict[str, Callable[[DatasetCase], DatasetCase]] = {
    "all as ever": lambda case: case,
    "filling": lambda case: replace(
        case, rooms=tuple(a_history(room.volume, shrinking(30 * GB)) for room in case.rooms)
    ),
    "nothing free": lambda case: replace(
        case, copies=tuple(replace(copy, place=with_room(copy.place, 0)) for copy in case.copies)
    ),
    "of days ago": lambda case: replace(case, rooms=tuple(replace(room, days=room.days[:-20]) for room in case.rooms)),
}
LOSSES: dict[str, Callable[[DatasetCase], DatasetCase]] = {
    "readings": lambda case: replace(case, rooms=tuple(replace(room, days=()) for room in case.rooms)),
    "histories": lambda case: replace(case, rooms=()),
    "one history": lambda case: replace(case, rooms=case.rooms[:-1]),
}


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from([timedelta(days=1), timedelta(days=60), timedelta(days=3650)]),
    st.sampled_from(sorted(ROOMS)),
    st.lists(st.one_of(steps(), st.sampled_from(sorted(LOSSES)).map(LOSSES.__getitem__)), min_size=1, max_size=5),
)
def test_where_headroom_is_asked_less_evidence_makes_no_volume_look_roomier(
    headroom: timedelta, room: str, changes: list[Callable[[DatasetCase], DatasetCase]]
) -> None:
    case = ROOMS[room](roomy(replace(all_well(), policy=replace(POLICY, headroom=headroom))))
    conclusion = audited(case).datasets[0].conclusion
    for change in changes:
        volumes = {copy.copy.address.volume for copy in case.copies}
        case = change(case)
        if {copy.copy.address.volume for copy in case.copies} != volumes:
            return  # a volume that is asked for no more
        dataset = audited(case).datasets[0]
        if conclusion is not Conclusion.CONFORMING:
            assert dataset.conclusion is not Conclusion.CONFORMING
        conclusion = dataset.conclusion


def test_the_case_with_room_conforms() -> None:
    case = roomy(replace(all_well(), policy=replace(POLICY, headroom=timedelta(days=60))))
    assert audited(case).conclusion is Conclusion.CONFORMING


@settings(max_examples=60, deadline=None)
@given(st.lists(steps(), max_size=6))
def test_no_recovery_point_lies_after_what_was_seen_and_none_is_proven_on_another_volume(changes: list[Step]) -> None:
    case = all_well()
    for change in changes:
        case = change(case)

    for copy in audited(case).datasets[0].copies:
        comparison, check = copy.comparison, copy.evidence.place.identity
        if copy.recovery_point is not None and comparison is not None:
            assert copy.recovery_point <= min(comparison.original_at, comparison.copy_at)
        if isinstance(check, Gap) or not check.trusted:
            assert copy.standing is Standing.UNVERIFIED
            assert copy.recovery_point is None


@settings(max_examples=60, deadline=None)
@given(st.lists(steps(), max_size=5), st.randoms())
def test_the_order_of_the_copies_changes_nothing(changes: list[Step], chance: Any) -> None:
    case = all_well()
    for change in changes:
        case = change(case)
    copies = list(case.copies)
    chance.shuffle(copies)
    first = audited(case)
    second = audited(replace(case, copies=tuple(copies)))

    assert first.conclusion is second.conclusion
    assert {(f.id, f.answer) for f in first.datasets[0].findings} == {
        (f.id, f.answer) for f in second.datasets[0].findings
    }


@settings(max_examples=60, deadline=None)
@given(st.lists(steps(), max_size=5))
def test_every_criterion_stays_visible_whatever_is_lost(changes: list[Step]) -> None:
    case = all_well()
    before = {f.id for f in audited(case).datasets[0].findings}
    for change in changes:
        case = change(case)
    kept = {str(copy.copy.address) for copy in case.copies}
    gone = {f"@{copy.copy.address}" for copy in all_well().copies if str(copy.copy.address) not in kept}
    after = {f.id for f in audited(case).datasets[0].findings}

    assert {name for name in before - after if not unquote(name).endswith(tuple(gone))} == set()


VOLUME_FACTS = ("filesystem_uuid", "filesystem_type", "mount_source", "mount_target", "fs_root", "on_root", "drives")


@given(
    st.sampled_from(["filesystem_uuid", "mount_target", "machine_id", "host_key", "drives", None]),
    st.sets(st.sampled_from(VOLUME_FACTS)),
    st.sets(st.sampled_from(["machine_id", "host_key"])),
)
def test_hiding_facts_never_makes_another_volume_the_one_pinned(
    other: str | None, hidden: set[str], hidden_box: set[str]
) -> None:
    pool, box, seen = HERON.volumes[0], device_facts("heron"), volume_facts(HERON.volumes[0])
    pins: tuple[PinnedFact, ...] = check_identity(pool, seen, box, None, rehearsal=False).seen
    if other in {"machine_id", "host_key"}:
        box = changed(box, **{other: "another"})
    elif other is not None:
        seen = changed(seen, **{other: frozenset({"another"}) if other == "drives" else "another"})
    blank = changed(seen, **{name: frozenset() if name == "drives" else None for name in hidden})
    mute: DeviceFacts = changed(box, **dict.fromkeys(hidden_box))
    before = check_identity(pool, seen, box, pins, rehearsal=False)
    after = check_identity(pool, blank, mute, pins, rehearsal=False)

    assert before.trusted is (other is None)
    assert before.trusted or not after.trusted
    assert isinstance(blank, VolumeFacts)


def test_a_place_that_shows_nothing_now_is_never_proven() -> None:
    gap = a_gap()
    dark = a_place(HERON, device_facts=gap, volume_facts=gap, identity=gap)

    copy = judged(a_case(a_copy(HERON, RECORDINGS.copies[0], place=dark))).datasets[0].copies[0]

    assert copy.standing is Standing.UNVERIFIED
