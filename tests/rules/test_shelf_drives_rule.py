"""The rule of drives that are found plugged in: it observes and breaks nothing."""

from __future__ import annotations

from datetime import timedelta

from coverage_audit.evidence.shelf import Attached, DriveSeen
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import a_case, a_copy
from tests.builders.station import CURLEW, FINISHED, HERON, KESTREL, LIMITS, RECORDINGS, SEEN, STARTED, a_key, an_estate

NEAR, FAR = RECORDINGS.copies
DRIVE = a_key("shelf-b:drive")


def attached(for_so_long: timedelta = timedelta(0)) -> Attached:
    return Attached(volume=DRIVE, host=KESTREL.id, since=SEEN - for_so_long, last=SEEN)


def said(*drives: DriveSeen) -> list[Finding]:
    judged = judge(
        an_estate(),
        [a_case(a_copy(HERON, NEAR), a_copy(CURLEW, FAR))],
        identities=(),
        gaps=(),
        started=STARTED,
        finished=FINISHED,
        drives=drives,
    )
    return [finding for finding in judged.findings if finding.rule == "shelf-drives"]


def test_where_no_drive_is_plugged_in_it_is_silent() -> None:
    assert said() == []


def test_a_drive_that_was_recorded_may_be_unplugged() -> None:
    (finding,) = said(DriveSeen(volume=DRIVE, attached=attached()))

    assert finding.answer is Answer.OBSERVATION
    assert finding.id == "shelf-drives:shelf-b:drive"
    assert finding.message == "shelf-b was seen attached to kestrel and recorded; you may unplug it."


def test_a_drive_that_was_there_before_is_said_to_have_been_there_at_every_audit() -> None:
    (finding,) = said(DriveSeen(volume=DRIVE, attached=attached(timedelta(days=1))))

    assert "was there at every audit" in finding.message
    assert "not offline" not in finding.message


def test_a_drive_that_stays_longer_than_the_grace_is_said_to_count_as_its_hosts() -> None:
    (finding,) = said(DriveSeen(volume=DRIVE, attached=attached(LIMITS.attached_grace + timedelta(hours=1))))

    assert "it counts as at kestrel's site and not offline" in finding.message


def test_why_a_drive_was_not_recorded_is_said() -> None:
    (finding,) = said(DriveSeen(volume=DRIVE, attached=attached(), not_recorded=("its root cannot be read",)))

    assert "was not recorded: its root cannot be read" in finding.message
    assert "may unplug" not in finding.message


def test_of_two_clones_both_places_are_named() -> None:
    (finding,) = said(DriveSeen(volume=DRIVE, twins=("kestrel at /media/a", "heron at /media/b")))

    assert finding.answer is Answer.OBSERVATION
    assert "kestrel at /media/a and heron at /media/b" in finding.message
    assert "neither counts as evidence" in finding.message
