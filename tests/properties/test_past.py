"""The look back against a naive model: each finding's answers, night by night, with the whole past at hand."""

from __future__ import annotations

from datetime import datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.past_record import Incident
from coverage_audit.ledger.record import AuditRecord
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged, night
from tests.parts.databases import NewLedger

OPEN = (Answer.NONCONFORMITY, Answer.UNVERIFIED)
IDS = ("age:field-recordings", "copies:field-recordings", "clock:estate")
Told = tuple[str, datetime, datetime | None, Answer, Answer | None]

pasts = st.lists(st.fixed_dictionaries({name: st.none() | st.sampled_from(Answer) for name in IDS}), max_size=9)
bounds = st.tuples(st.integers(-1, 9), st.integers(0, 4)).map(lambda two: (two[0], two[0] + two[1]))


def model(nights: list[dict[str, Answer | None]], name: str) -> list[Told]:
    """All incidents of one finding: each unbroken run of open answers."""
    found: list[Told] = []
    run: list[tuple[int, Answer]] = []
    for number, answers in enumerate([*nights, {}]):
        over = number == len(nights)
        answer = answers.get(name)
        if answer in OPEN and answer is not None:
            run.append((number, answer))
        elif run:
            worst = Answer.NONCONFORMITY if Answer.NONCONFORMITY in {one for _, one in run} else Answer.UNVERIFIED
            found.append((name, night(run[0][0]), None if over else night(number), worst, None if over else answer))
            run = []
    return found


def told(incident: Incident) -> Told:
    return incident.finding.id, incident.began, incident.ended, incident.worst, incident.ended_as


@settings(max_examples=30, deadline=None)
@given(pasts, bounds)
def test_incidents_are_the_unbroken_runs_of_open_answers_that_touch_the_span(
    new_ledger: NewLedger, nights: list[dict[str, Answer | None]], between: tuple[int, int]
) -> None:
    since, until = (night(number) + timedelta(hours=1) for number in between)
    with new_ledger() as (ledger, _):
        for number, answers in enumerate(nights):
            given_ = [a_finding(name, answer) for name, answer in answers.items() if answer is not None]
            own = [finding for finding in given_ if finding.subject == "estate"]
            datasets = {"field-recordings": [finding for finding in given_ if finding.subject != "estate"]}
            judged = a_judged(night(number), datasets, estate_findings=own)
            ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))
        seen = ledger.past.look_back(since, until)
    every = [one for name in IDS for one in model(nights, name)]
    expected = [one for one in every if one[1] <= until and (one[2] is None or one[2] > since)]
    assert sorted(map(told, seen.incidents), key=str) == sorted(expected, key=str)
    assert [audit.started for audit in seen.audits] == [
        night(number) for number in range(len(nights)) if since < night(number) <= until
    ]
    assert len(seen.datasets) == len(seen.audits)
