from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.model import Copy
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.case import CopyEvidence, LeftOut
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding
from tests.builders.cases import a_case, a_comparison, a_copy, judged_dataset
from tests.builders.station import CURLEW, HERON, RECORDINGS, STARTED

KEPT = Tally(files=1000, bytes=10_000_000)
FEW, SOME, MANY = Tally(files=5, bytes=50_000), Tally(files=20, bytes=200_000), Tally(files=600, bytes=1_000)
NONE = Tally()
NEAR = RECORDINGS.copies[0]


def then(days: int, whole: Tally = KEPT + FEW, **by: Tally) -> LeftOut:
    """What was left out so many days ago; a pattern's name is that of its files' ending."""
    return LeftOut(at=STARTED - timedelta(days=days), whole=whole, by=tuple((f"*.{n}", t) for n, t in by.items()))


def evidence(*before: LeftOut, copy: Copy = NEAR, kept: Tally = KEPT, blind: bool = False, **by: Tally) -> CopyEvidence:
    left = sum(by.values(), Tally())
    found = a_comparison(
        original=kept,
        same=kept,
        left_out=left,
        left_out_by=tuple((f"*.{name}", tally) for name, tally in by.items()),
        blind_original=blind,
    )
    return a_copy(HERON, copy, comparison=found, left_out_before=before)


def answered(*copies: CopyEvidence) -> list[Finding]:
    dataset = judged_dataset(a_case(*copies))
    return [finding for finding in dataset.findings if finding.rule == "leaving-out"]


def test_what_is_left_out_as_ever_conforms_and_its_figures_are_said() -> None:
    (found,) = answered(evidence(then(1, tmp=FEW), tmp=FEW))
    assert found.answer is Answer.CONFORMITY
    assert found.id == "leaving-out:field-recordings"
    assert "5 files (50.0 kB) of 1 005 files" in found.message


@pytest.mark.parametrize(
    ("before", "now", "observed"),
    [
        (FEW, SOME, True),  # four times as many, two in a hundred
        (FEW, Tally(files=6, bytes=60_000), False),  # grew little
        (Tally(files=2, bytes=1), Tally(files=9, bytes=9), False),  # grew much, and is little still
        (Tally(files=9, bytes=50_000), Tally(files=9, bytes=400_000), True),  # as many, and far larger
        (NONE, SOME, True),
        (SOME, SOME, False),
    ],
)
def test_a_pattern_that_suddenly_leaves_out_much_more_is_observed(before: Tally, now: Tally, *, observed: bool) -> None:
    (found,) = answered(evidence(then(1, whole=KEPT + SOME, tmp=before), tmp=now))
    assert (found.answer is Answer.OBSERVATION) is observed
    assert ("at 2026-11-24 04:10 GMT it left out" in found.message) is observed


def test_figures_then_and_now_are_said() -> None:
    (found,) = answered(evidence(then(1, whole=KEPT + SOME, tmp=FEW), tmp=SOME))
    assert (
        "“*.tmp” leaves out 20 files (200 kB), at 2026-11-24 04:10 GMT it left out 5 files (50.0 kB)" in found.message
    )


def test_a_growth_by_little_each_night_is_seen_too() -> None:
    nights = [then(day, whole=KEPT + SOME, tmp=Tally(files=20 - day, bytes=200_000)) for day in range(1, 16)]
    (found,) = answered(evidence(*nights, tmp=SOME))
    assert found.answer is Answer.OBSERVATION


def test_what_grew_long_ago_is_no_news() -> None:
    (found,) = answered(evidence(then(1, whole=KEPT + SOME, tmp=SOME), then(40, whole=KEPT + SOME, tmp=FEW), tmp=SOME))
    assert found.answer is Answer.CONFORMITY


def test_a_night_of_a_clock_that_was_ahead_is_not_held_against_it() -> None:
    (found,) = answered(evidence(then(-3, tmp=NONE), then(1, whole=KEPT + SOME, tmp=SOME), tmp=SOME))
    assert found.answer is Answer.CONFORMITY


def test_the_first_night_has_nothing_to_be_held_against() -> None:
    assert [f.answer for f in answered(evidence(tmp=SOME))] == [Answer.CONFORMITY]


def test_more_than_half_of_the_files_is_said_from_the_first_night_on() -> None:
    (found,) = answered(evidence(tmp=MANY, kept=Tally(files=500, bytes=10**9)))
    assert found.answer is Answer.OBSERVATION
    assert "more than half is left out (600 files" in found.message


def test_all_that_is_new_being_left_out_is_said() -> None:
    before = then(9, whole=Tally(files=1400, bytes=10_000_000), wav=Tally(files=400, bytes=0))
    (found,) = answered(evidence(before, wav=Tally(files=480, bytes=0)))
    assert "all 80 files by which it grew since" in found.message


def test_a_dataset_that_grew_by_what_is_kept_too_is_no_news() -> None:
    before = then(9, whole=Tally(files=1300, bytes=10_000_000), wav=Tally(files=400, bytes=0))
    (found,) = answered(evidence(before, wav=Tally(files=480, bytes=0)))
    assert found.answer is Answer.CONFORMITY


def test_a_pattern_that_matches_nothing_says_whether_it_ever_did() -> None:
    (found,) = answered(evidence(then(1, tmp=NONE), then(90, tmp=FEW), tmp=NONE, tpm=NONE))
    assert found.answer is Answer.OBSERVATION
    assert "“*.tmp” matches nothing; it last did at 2026-08-27 05:10 IST (5 files (50.0 kB))" in found.message
    assert "“*.tpm” matches nothing, and never did as far as is known (is it misspelt?)" in found.message


def test_an_original_seen_in_part_says_nothing_of_what_matches_nothing() -> None:
    assert [f.answer for f in answered(evidence(tmp=NONE, blind=True))] == [Answer.CONFORMITY]


def test_the_datasets_patterns_are_answered_for_once_and_a_copys_own_at_that_copy() -> None:
    own = replace(RECORDINGS.copies[1], leave_out=("*.bak",))
    third = replace(RECORDINGS.copies[1], address=replace(RECORDINGS.copies[1].address, path="elsewhere"))
    at = a_copy(CURLEW, own, comparison=evidence(tmp=FEW, bak=FEW).comparison)
    again = a_copy(CURLEW, third, comparison=evidence(tmp=FEW).comparison)
    assert [f.id for f in answered(evidence(tmp=FEW), at, again)] == [
        "leaving-out:field-recordings",
        "leaving-out:field-recordings@curlew:store/recordings",
    ]


def test_nothing_is_answered_where_no_pattern_is() -> None:
    assert answered(evidence()) == []


def test_an_observation_of_it_breaks_no_criterion() -> None:
    dataset = judged_dataset(a_case(evidence(tmp=NONE), a_copy(CURLEW, RECORDINGS.copies[1])))
    assert dataset.conclusion is Conclusion.CONFORMING
