from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from coverage_audit.audits.status import DatasetStatus, Evidence, Kind, Standing, Timetable
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.ledger.present_record import OpenFinding
from coverage_audit.reports.status import standing_said, status_text
from coverage_audit.reports.status_json import status_json
from tests.builders.recorded import a_finding
from tests.builders.status import DAY, HOUR, NIGHT, NOW, a_dataset, a_queued, a_status, an_audit

HOSTILE = "evil\n\x1b[31m\u202ename"
FAILED = NightRecord(
    night=date(2026, 11, 27),
    started=NIGHT,
    finished=NIGHT + HOUR,
    outcome=NightOutcome.FAILED,
    detail="no room left on the disk",
    missed=3,
    missed_since=date(2026, 11, 24),
)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "good"),
        ({"last": None}, "no audit of all datasets has finished yet"),
        ({"last": an_audit(NIGHT - 3 * DAY)}, "no audit has finished since 2026-11-26 04:10 GMT"),
        ({"last": an_audit(conclusion=Conclusion.NONCONFORMING)}, "does not conform"),
        ({"last": an_audit(conclusion=Conclusion.UNVERIFIED)}, "lacked evidence"),
        ({"undelivered": (a_queued(waiting=3 * DAY),)}, "1 notice was not delivered for more than 24 h"),
        ({"undelivered": (a_queued(waiting=3 * DAY),) * 2}, "2 notices were not delivered"),
    ],
)
def test_the_first_line_says_how_it_stands(changed: dict[str, object], said: str) -> None:
    status = a_status(**changed)
    assert said in standing_said(status)
    assert status_text(status).splitlines()[0] == f"Saltreach Field Station: {standing_said(status)}"


def test_every_standing_has_its_sentence() -> None:
    said = {
        standing_said(status)
        for status in (
            a_status(),
            a_status(last=None),
            a_status(undelivered=(a_queued(waiting=3 * DAY),)),
            *(a_status(last=an_audit(conclusion=one)) for one in (Conclusion.NONCONFORMING, Conclusion.UNVERIFIED)),
        )
    }
    assert len(said) == len(Standing)


def test_a_night_that_failed_and_nights_that_were_missed_are_said_with_why() -> None:
    text = status_text(a_status(night=FAILED))
    assert "Last night:   2026-11-27, failed: no room left on the disk" in text
    assert "The 3 nights before it had no audit, since 2026-11-24" in text


def test_a_night_that_has_not_ended_is_said() -> None:
    text = status_text(a_status(night=replace(FAILED, outcome=None, finished=None, detail="", missed=0)))
    assert "Last night:   2026-11-27, begun 2026-11-27 04:10 GMT and not ended\n" in text


def test_a_worse_conclusion_since_the_last_audit_is_said_beside_it() -> None:
    text = status_text(a_status(datasets=(DatasetStatus(id=DatasetId("photos"), last=None),)))
    assert ", conforming\n  What was judged since, or was declared since and never judged, makes it unverified." in text


def test_what_was_never_seen_is_said_to_be_so_and_ages_are_told() -> None:
    text = status_text(a_status())
    assert "shelf drive shelf-b  never" in text
    assert "device kestrel       4 h 50 min ago" in text


def test_long_lists_of_what_failed_are_cut_and_counted() -> None:
    failing = tuple(OpenFinding(finding=a_finding(f"age:x{n}"), dataset=None, since=NIGHT) for n in range(23))
    text = status_text(a_status(failing=failing))
    assert text.count("[age:x") == 20
    assert "and 3 more" in text


def test_where_no_time_is_declared_that_is_said() -> None:
    times = Timetable(expected=NIGHT - DAY, audit=None, summary=None)
    text = status_text(a_status(times=times))
    assert "Next audit:   no time is declared" in text
    assert "Next summary" not in text


def test_hostile_names_are_shown_and_never_act() -> None:
    hostile = a_queued(HOSTILE, error=HOSTILE)
    status = a_status(
        evidence=(Evidence(kind=Kind.COPY, name=HOSTILE, at=NIGHT),),
        failing=(OpenFinding(finding=a_finding(message=HOSTILE), dataset=None, since=NIGHT),),
        undelivered=(hostile,),
        astray=(hostile,),
        datasets=(a_dataset(),),
        night=replace(FAILED, detail=HOSTILE),
        daemon=HOSTILE,
        at=NOW + timedelta(minutes=1),
    )
    for text in (status_text(status), status_json(status)):
        assert all(line.isprintable() for line in text.splitlines())
        assert "\u202e" not in text
        assert len(text.splitlines()) < 120
    lines = status_text(replace(status, evidence=())).count("\n")
    assert status_text(status).count("\n") == lines + 1
