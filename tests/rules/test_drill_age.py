"""The rule of drills: read back lately, too long ago, never, damaged, by hand, and what cannot be told."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.model import Copy, Proof
from coverage_audit.evidence.drilling import DrillOutcome, DrillsOfCopy, Outstanding, StillThere
from coverage_audit.judgement.verdict import Answer, Finding, JudgedDataset, Standing
from tests.builders.cases import a_case, a_copy, a_gap, judged_copy, judged_dataset
from tests.builders.drills import DAY, a_drill, by_hand, drills
from tests.builders.station import CURLEW, HERON, POLICY, RECORDINGS

ASKED = replace(POLICY, copies=1, media=None, offsite=None, drill=180 * DAY)
DAMAGED, INCOMPLETE = DrillOutcome.DAMAGED, DrillOutcome.INCOMPLETE
REWRITTEN = replace(drills(a_drill(3)), still=StillThere(files=9, of=20))
CRITERION = "drill-age:field-recordings/drill"


def judged(*known: DrillsOfCopy | None, drill: timedelta | None = 180 * DAY) -> JudgedDataset:
    """The recordings with a copy on heron and one on curlew, and what is known of their drills."""
    places = zip((HERON, CURLEW), RECORDINGS.copies, known, strict=False)
    copies = [a_copy(device, copy, drills=drills_known) for device, copy, drills_known in places]
    return judged_dataset(a_case(*copies, policy=replace(ASKED, drill=drill)))


def found(dataset: JudgedDataset, name: str = CRITERION) -> Finding:
    (finding,) = (one for one in dataset.findings if one.id == name)
    return finding


def test_a_proven_copy_that_was_read_back_lately_meets_it() -> None:
    finding = found(judged(drills(a_drill(10))))
    assert finding.answer is Answer.CONFORMITY
    assert finding.measured == "read back 10 days ago"
    assert "20 files (3.0 GB) came back right out of heron:pool/mirror/recordings" in finding.message
    assert "100 MB a second" in finding.message
    assert finding.required == "a copy read back within 180 days"
    assert finding.control == "supports evidence for NIST SP 800-53 Rev. 5 CP-9(2) and CP-4, and CIS Controls v8 11.5"


@pytest.mark.parametrize(
    ("known", "answer", "said"),
    [
        (drills(a_drill(180)), Answer.CONFORMITY, "came back right"),
        (drills(a_drill(181)), Answer.NONCONFORMITY, "it was last read back 181 days ago"),
        (drills(), Answer.NONCONFORMITY, "no drill has read it back"),
        (None, Answer.UNVERIFIED, "is not known"),
        (drills(a_drill(-1)), Answer.NONCONFORMITY, "bears a time after this audit"),
        (drills(a_drill(5, INCOMPLETE)), Answer.NONCONFORMITY, "showed too little (0 of 20 files restored)"),
        (drills(a_drill(9), a_drill(5, INCOMPLETE)), Answer.CONFORMITY, "came back right"),
        (drills(a_drill(9), a_drill(5, INCOMPLETE, unread=2)), Answer.NONCONFORMITY, "2 files could not be read back"),
        (drills(a_drill(9, INCOMPLETE, unread=2), a_drill(5)), Answer.CONFORMITY, "came back right"),
        (drills(a_drill(9), a_drill(5, DAMAGED)), Answer.NONCONFORMITY, "found 1 of 20 files damaged"),
        (drills(a_drill(9, DAMAGED), a_drill(5)), Answer.CONFORMITY, "came back right"),
        (drills(a_drill(9, DAMAGED), a_drill(5, INCOMPLETE)), Answer.NONCONFORMITY, "found 1 of 20 files damaged"),
        (drills(a_drill(5, drawn=0, drawn_back=0)), Answer.NONCONFORMITY, "drew 0 files of 3000 at random"),
        (drills(a_drill(5, drawn=1, drawn_back=1)), Answer.NONCONFORMITY, "at least 20 are asked"),
        (drills(a_drill(9), a_drill(5, drawn=0, drawn_back=0)), Answer.CONFORMITY, "came back right"),
        (REWRITTEN, Answer.CONFORMITY, "of 20 files that were read back then, 9 lie there as they did"),
        (drills(by_hand(5)), Answer.UNVERIFIED, "by word of R. Byrne (declared, not measured)"),
        (drills(by_hand(181)), Answer.NONCONFORMITY, "no drill has read it back"),
        (drills(by_hand(5), a_drill(10)), Answer.CONFORMITY, "came back right"),
    ],
)
def test_what_is_known_of_a_copy_decides(known: DrillsOfCopy | None, answer: Answer, said: str) -> None:
    finding = found(judged(known))
    assert finding.answer is answer
    assert said in finding.message


def test_one_copy_that_was_read_back_is_enough_and_of_several_the_newest_is_named() -> None:
    old, young = drills(a_drill(90)), drills(a_drill(3))
    assert found(judged(DrillsOfCopy(), old)).answer is Answer.CONFORMITY
    assert "recordings 3 days ago" in found(judged(old, young)).message


def test_a_copy_that_is_not_proven_now_does_not_meet_it() -> None:
    copy = a_copy(HERON, RECORDINGS.copies[0], drills=drills(a_drill(3)), comparison=None, gap=a_gap())
    finding = found(judged_dataset(a_case(copy, policy=ASKED)))
    assert finding.answer is Answer.UNVERIFIED
    assert "was read back 3 days ago, and is unverified now" in finding.message


def test_with_no_copy_at_all_nothing_was_read_back() -> None:
    case = a_case(policy=ASKED)
    finding = found(judged_dataset(replace(case, copies=(), dataset=replace(case.dataset, copies=()))))
    assert finding.answer is Answer.NONCONFORMITY


def test_where_no_drill_is_asked_there_is_no_criterion_but_damage_is_said_and_counts_against_the_copy() -> None:
    assert not [one for one in judged(drills(a_drill(3)), drill=None).findings if one.rule == "drill-age"]
    spoilt = judged(drills(a_drill(3, DAMAGED)), drill=None)
    finding = found(spoilt, "drill-age:field-recordings@heron:pool/mirror/recordings")
    assert finding.answer in {Answer.NONCONFORMITY, Answer.OBSERVATION}
    assert "“take-7\\n.wav”" in finding.message
    assert not finding.waivable
    assert spoilt.copies[0].standing is Standing.DAMAGED


@pytest.mark.parametrize(
    ("known", "reached"),
    [
        (None, Proof.LISTED),
        (drills(), Proof.LISTED),
        (drills(by_hand(3)), Proof.LISTED),
        (drills(a_drill(3)), Proof.RESTORED),
        (drills(a_drill(366)), Proof.LISTED),
        (drills(a_drill(3, drawn=0, drawn_back=0)), Proof.LISTED),
        (REWRITTEN, Proof.LISTED),
        (replace(drills(a_drill(3)), still=None), Proof.LISTED),
        (replace(drills(a_drill(3)), still=StillThere(files=10, of=20)), Proof.RESTORED),
        (drills(a_drill(9), a_drill(3, INCOMPLETE, unread=1)), Proof.LISTED),
    ],
)
def test_proof_restored_is_a_listed_copy_that_was_read_back_within_a_year(
    known: DrillsOfCopy | None, reached: Proof
) -> None:
    restored = replace(RECORDINGS.copies[0], proof=Proof.RESTORED)
    copy = judged_copy(a_copy(HERON, restored, drills=known))
    assert copy.standing is (Standing.PROVEN if reached is Proof.RESTORED else Standing.UNVERIFIED)
    assert copy.proof is reached


def test_the_policys_own_span_holds_for_the_proof_too() -> None:
    restored = replace(RECORDINGS.copies[0], proof=Proof.RESTORED)
    copy = a_copy(HERON, restored, drills=drills(a_drill(181)))
    assert judged_copy(copy, policy=ASKED).standing is Standing.UNVERIFIED
    assert judged_copy(copy, policy=replace(ASKED, drill=None)).standing is Standing.PROVEN


def test_of_damage_that_is_outstanding_from_several_drills_all_is_counted() -> None:
    left = (Outstanding(path=b"take-3.wav"), Outstanding(path=b"take-9.wav"))
    known = drills(a_drill(9, DAMAGED), a_drill(5, DAMAGED, outstanding=left))
    finding = found(judged(known), "drill-age:field-recordings@heron:pool/mirror/recordings")
    assert "of what drills found damaged, 2 files came back right in none since: “take-3.wav”, “take-9.wav”" in (
        finding.message
    )
    assert finding.degree == 2


def test_a_drill_is_no_sample() -> None:
    sampled: Copy = replace(RECORDINGS.copies[0], proof=Proof.SAMPLED)
    copy = judged_copy(a_copy(HERON, sampled, drills=drills(a_drill(3))))
    assert (copy.standing, copy.proof) == (Standing.UNVERIFIED, Proof.LISTED)
