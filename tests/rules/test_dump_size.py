"""The rule of the size of dumps: empty, much smaller than usual, and what cannot be told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import a_gap
from tests.builders.dated import asked, dumps, found_by, kept, nights, remembering


def sized(*sizes: int | None) -> tuple[RecoveryPoint, ...]:
    """Dumps of one night each, the last of tonight."""
    points = nights(*range(len(sizes)))
    return tuple(replace(point, size=size) for point, size in zip(points, sizes, strict=True))


def weighed(evidence: CopyEvidence, share: float = 0.5) -> Finding:
    return found_by("dump-size", asked(evidence, dump_size=share))


def test_a_dump_as_large_as_those_before_it_is_in_order() -> None:
    found = weighed(dumps(sized(1000, 1010, 1020, 1015)))

    assert found.answer is Answer.CONFORMITY
    assert found.required == "at least 50% of the usual 1.0 kB"
    assert found.control == "supports evidence for NIST SP 800-53 Rev. 5 CP-9(1)"


@pytest.mark.parametrize(
    ("newest", "answer"),
    [
        (0, Answer.NONCONFORMITY),
        (120, Answer.NONCONFORMITY),
        (499, Answer.NONCONFORMITY),
        (500, Answer.CONFORMITY),
        (9000, Answer.CONFORMITY),
        (None, Answer.UNVERIFIED),
    ],
)
def test_the_newest_is_held_against_the_median(newest: int | None, answer: Answer) -> None:
    assert weighed(dumps(sized(1000, 900, 1100, 1000, newest))).answer is answer


def test_the_sizes_are_said() -> None:
    found = weighed(dumps(sized(100_000, 100_000, 100_000, 120)))

    assert "the newest dump “2026-11-25” is of 120 B, where 100 kB is usual" in found.message
    assert found.measured == "120 B"


def test_what_is_refused_for_its_size_alone_is_the_newest_dump() -> None:
    points = sized(1000, 1000, 1000, 3)
    evidence = dumps(points[:-1])
    assert isinstance(evidence.points, PointList)
    thin = replace(evidence, points=replace(evidence.points, thin=points[-1:], refused=(("2026-11-25", "small"),)))

    assert weighed(thin).measured == "3 B"
    assert weighed(thin).answer is Answer.NONCONFORMITY


def test_an_empty_dump_needs_no_history() -> None:
    assert "is empty" in weighed(dumps(sized(0))).message


def test_of_fewer_than_three_before_it_none_can_tell() -> None:
    assert weighed(dumps(sized(1000, 1000, 1000))).answer is Answer.UNVERIFIED
    assert weighed(dumps(sized(1000, 1000, 1000, 1000))).answer is Answer.CONFORMITY


def test_dumps_that_were_deleted_are_remembered() -> None:
    now = dumps(sized(1000, 100))
    before = tuple(replace(point, size=1000) for point in nights(1, 2, 3, 4))

    assert weighed(now).answer is Answer.UNVERIFIED
    assert weighed(remembering(now, (1, before))).answer is Answer.NONCONFORMITY


def test_a_small_one_among_the_last_is_looked_at_although_the_newest_is_right() -> None:
    found = weighed(dumps(sized(1000, 1000, 1000, 40, 1000)))

    assert found.answer is Answer.OBSERVATION
    assert "“2026-11-24” (40 B)" in found.message


def test_dumps_that_stay_smaller_become_the_usual_ones() -> None:
    assert weighed(dumps(sized(*[1000] * 10, *[100] * 31))).answer is Answer.CONFORMITY


def test_what_is_not_seen_is_unverified_and_what_is_not_there_is_missing() -> None:
    assert weighed(replace(dumps(sized(1000)), points=a_gap("heron"))).answer is Answer.UNVERIFIED
    assert weighed(dumps(())).answer is Answer.NONCONFORMITY


def test_dated_folders_are_no_dumps() -> None:
    found = weighed(kept(nights(0, 1, 2)))

    assert found.answer is Answer.UNVERIFIED
    assert "none of its copies consists of dumps" in found.message


def test_a_newest_dump_that_is_an_error_message_is_none_whatever_its_size() -> None:
    points = sized(1000, 1000, 1000, 1000)
    said = "it begins like an error message: “dump: error: no such database”"
    evidence = dumps(points[:-1])
    assert isinstance(evidence.points, PointList)
    failed = replace(points[-1], doubts=(said,))
    refused = ((failed.name, said),)
    found = weighed(replace(evidence, points=replace(evidence.points, thin=(failed,), refused=refused)))

    assert found.answer is Answer.NONCONFORMITY
    assert found.measured == "an error message"
    assert said in found.message
