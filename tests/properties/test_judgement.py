"""The laws of the judgement: a fault more or a piece of evidence less never turns anything into conforming."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any
from urllib.parse import unquote

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.model import Medium, SiteId
from coverage_audit.evidence.difference import CopyComparison, Tally
from coverage_audit.evidence.facts import DeviceFacts, Gap, PinnedFact, PinState, PointList, VolumeFacts
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.judgement.case import CopyEvidence, DatasetCase, PlaceEvidence
from coverage_audit.judgement.identity import check_identity
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate, Standing
from tests.builders.cases import (
    CURLEW,
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    STARTED,
    a_case,
    a_copy,
    a_dated_copy,
    a_device,
    a_gap,
    a_place,
    a_point,
    a_volume,
    an_address,
    an_estate,
    an_identity,
    changed,
    device_facts,
    judged,
    volume_facts,
)

FEW = Tally(files=3, bytes=3_000)
AVOCET = a_device("avocet", a_volume("avocet:images", medium=Medium.SSD), site=SiteId("barn"))

OnCopy = Callable[[CopyEvidence, DatasetCase], CopyEvidence]
OnPlace = Callable[[PlaceEvidence, DatasetCase], PlaceEvidence]
OnCase = Callable[[DatasetCase], DatasetCase]


def all_well() -> DatasetCase:
    """Five places: kestrel, mirrors on heron, curlew and avocet, dated folders on heron."""
    return a_case(
        a_copy(HERON, RECORDINGS.copies[0]),
        a_copy(CURLEW, RECORDINGS.copies[1]),
        a_copy(AVOCET, replace(RECORDINGS.copies[1], address=an_address("avocet:images/recordings"))),
        a_dated_copy(HERON, a_point("2026-11-24", STARTED - timedelta(hours=9))),
    )


def audited(case: DatasetCase) -> JudgedEstate:
    return judged(case, an_estate(KESTREL, HERON, CURLEW, AVOCET))


def on_comparison(change: Callable[[CopyComparison], CopyComparison]) -> OnCopy:
    def apply(copy: CopyEvidence, _case: DatasetCase) -> CopyEvidence:
        return replace(copy, comparison=change(copy.comparison)) if copy.comparison else copy

    return apply


def lose(found: CopyComparison, **verdicts: Any) -> CopyComparison:
    """Three files more are not held."""
    return replace(
        found,
        missing=found.missing + FEW,
        same=Tally(files=max(0, found.same.files - 3), bytes=found.same.bytes),
        earliest_start=STARTED - timedelta(days=11),
        **verdicts,
    )


FAULTS_OF_A_COPY: dict[str, OnCopy] = {
    "stale": on_comparison(lambda f: lose(f, counting=f.counting + FEW, counting_rows=f.counting_rows + 3)),
    "hole": on_comparison(lambda f: lose(f, counting=f.counting + FEW, counting_rows=3, holds_newer=True)),
    "lost": on_comparison(lambda f: replace(f, missing=f.original, same=Tally())),
    "own": on_comparison(lambda f: replace(f, own=FEW, changed=f.changed + FEW)),
    "between": on_comparison(lambda f: lose(f, between=FEW, between_rows=3)),
    "unhashed": on_comparison(lambda f: replace(f, unhashed=FEW, changed=f.changed + FEW)),
    "unknown": on_comparison(lambda f: lose(f, unknown=f.unknown + FEW, blind_copy=True)),
    "blind original": on_comparison(lambda f: replace(f, blind_original=True)),
    "from tomorrow": on_comparison(lambda f: replace(f, last_work=STARTED + timedelta(days=1))),
    "nothing there": on_comparison(lambda f: replace(f, original=Tally(), same=Tally())),
    "old evidence": lambda copy, _: replace(copy, tree_at=STARTED - timedelta(days=9)),
    "old point": lambda copy, _: replace(copy, point=a_point("2026-11-02", STARTED - timedelta(days=23))),
}

EVIDENCE_OF_A_COPY: dict[str, OnCopy] = {
    "comparison": lambda copy, _: replace(copy, comparison=None, gap=a_gap()),
    "when": lambda copy, _: replace(copy, tree_at=None),
    "points": lambda copy, _: replace(copy, points=a_gap() if copy.points else None),
    "point": lambda copy, _: replace(copy, point=None),
    "all points": lambda copy, _: (
        replace(copy, points=replace(copy.points, points=())) if isinstance(copy.points, PointList) else copy
    ),
}


def on_box(**values: Any) -> OnPlace:
    def apply(place: PlaceEvidence, _case: DatasetCase) -> PlaceEvidence:
        facts = place.device_facts
        return place if isinstance(facts, Gap) else replace(place, device_facts=changed(facts, **values))

    return apply


def on_volume(**values: Any) -> OnPlace:
    def apply(place: PlaceEvidence, _case: DatasetCase) -> PlaceEvidence:
        facts = place.volume_facts
        return place if isinstance(facts, Gap) else replace(place, volume_facts=changed(facts, **values))

    return apply


def as_of_kestrel(*names: str) -> OnPlace:
    """Show the same as the original's box or volume does: they are one."""
    box, volume = device_facts("kestrel"), volume_facts(KESTREL.volumes[0])

    def apply(place: PlaceEvidence, case: DatasetCase) -> PlaceEvidence:
        for name in names:
            source = box if hasattr(box, name) else volume
            change = (on_box if hasattr(box, name) else on_volume)(**{name: getattr(source, name)})
            place = change(place, case)
        return place

    return apply


def identity(state: PinState) -> OnPlace:
    return lambda place, _: replace(place, identity=an_identity(place.volume, state, "filesystem UUID was a, is now b"))


FAULTS_OF_A_PLACE: dict[str, OnPlace] = {
    "another volume": identity(PinState.CHANGED),
    "asked about": identity(PinState.ASKED),
    "one machine": as_of_kestrel("machine_id", "boot_id"),
    "one kernel": as_of_kestrel("boot_id"),
    "one host key": as_of_kestrel("host_key"),
    "one filesystem": as_of_kestrel("filesystem_uuid"),
    "one drive": as_of_kestrel("drives"),
    "network mount": on_volume(filesystem_type="nfs4", mount_source="kestrel.example:/srv/main"),
    "guest": on_box(is_guest=True),
    "clock": on_box(clock_offset=timedelta(hours=1)),
    "medium": on_volume(rotational=True),
}

# Silence about `is_guest` and `rotational` is no evidence lost: there what is declared stands.
EVIDENCE_OF_A_PLACE: dict[str, OnPlace] = {
    **{name: on_box(**{name: None}) for name in ("machine_id", "boot_id", "host_key", "clock_offset")},
    "addresses": on_box(own_addresses=frozenset()),
    **{name: on_volume(**{name: None}) for name in ("filesystem_uuid", "backing_file", "mount_source", "on_root")},
    "drives": on_volume(drives=frozenset()),
    "box": lambda place, _: replace(place, device_facts=a_gap()),
    "volume": lambda place, _: replace(place, volume_facts=a_gap()),
    "identity": lambda place, _: replace(place, identity=a_gap()),
}


def shrunk(files: int) -> OnCase:
    def apply(case: DatasetCase) -> DatasetCase:
        tree = case.original.tree
        if not isinstance(tree, CompleteManifest):
            return case
        census = replace(tree.census, files=files, bytes=files)
        return replace(case, original=replace(case.original, tree=replace(tree, census=census)))

    return apply


ON_THE_ORIGINAL: dict[str, OnCase] = {
    "emptied": shrunk(0),
    "shrunk": shrunk(7),
    "unseen": lambda case: replace(case, original=replace(case.original, tree=a_gap("kestrel"), as_of=None)),
    "as of": lambda case: replace(
        case, original=replace(case.original, tree=a_gap("kestrel"), as_of=case.original.before)
    ),
    "copy forgotten": lambda case: replace(case, copies=case.copies[1:]),
}


@st.composite
def steps(draw: st.DrawFn) -> OnCase:
    """One fault more, or one piece of evidence less, somewhere."""
    kind = draw(st.sampled_from(["copy", "place", "original's place", "original"]))
    number = draw(st.integers(0, 3))
    if kind == "original":
        return draw(st.sampled_from(sorted(ON_THE_ORIGINAL.items())))[1]
    if kind == "copy":
        change = draw(st.sampled_from(sorted({**FAULTS_OF_A_COPY, **EVIDENCE_OF_A_COPY}.items())))[1]
        return lambda case: _with_copy(case, number, lambda copy: change(copy, case))
    names = {**FAULTS_OF_A_PLACE, **EVIDENCE_OF_A_PLACE}
    spoil = names[draw(st.sampled_from(sorted(names)))]
    if kind == "place":
        return lambda case: _with_copy(case, number, lambda copy: replace(copy, place=spoil(copy.place, case)))
    return lambda case: replace(case, original=replace(case.original, place=spoil(case.original.place, case)))


def _with_copy(case: DatasetCase, number: int, change: Callable[[CopyEvidence], CopyEvidence]) -> DatasetCase:
    copies = list(case.copies)
    if number < len(copies):
        copies[number] = change(copies[number])
    return replace(case, copies=tuple(copies))


POLICIES = st.builds(
    lambda copies, media, offsite: replace(POLICY, copies=copies, media=media, offsite=offsite),
    st.integers(1, 4),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([None, 1, 2]),
)


def test_the_case_from_which_the_laws_start_conforms() -> None:
    assert audited(all_well()).conclusion is Conclusion.CONFORMING


@settings(max_examples=250, deadline=None)
@given(POLICIES, st.lists(steps(), min_size=1, max_size=6))
def test_a_fault_more_or_evidence_less_never_turns_a_conclusion_into_conforming(
    policy: Any, changes: list[OnCase]
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


@settings(max_examples=60, deadline=None)
@given(st.lists(steps(), max_size=6))
def test_no_recovery_point_lies_after_what_was_seen_and_none_is_proven_on_another_volume(changes: list[OnCase]) -> None:
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
def test_the_order_of_the_copies_changes_nothing(changes: list[OnCase], chance: Any) -> None:
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
def test_every_criterion_stays_visible_whatever_is_lost(changes: list[OnCase]) -> None:
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
