"""Weekly pages: of the invented station's year, and of an estate in which one text stands wherever any can."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from coverage_audit.estate.changes import ChangeKind, EstateChange
from coverage_audit.evidence.facts import GapKind
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.past_record import Incident, LookBack, NightOutcome, NightRecord
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.weekly import weekly_page
from tests.builders.judged import (
    NOW,
    a_comparison,
    a_copy,
    a_dataset,
    a_finding,
    a_gap,
    a_sample,
    address,
    an_estate,
    an_item,
    judged,
)
from tests.builders.past_days import an_audit
from tests.builders.year_of_the_station import WEEK_FROM, a_year_of_the_station

MADE = NOW + timedelta(hours=2)


def the_weekly_page(now: datetime = MADE) -> str:
    year = a_year_of_the_station()
    return weekly_page(year.judged, year.estate, year.back, since=year.since, week_from=WEEK_FROM, now=now)


def hostile_weekly(name: str) -> str:
    """A page on which every text that can be anybody's is this one."""
    copy = a_copy(
        an_estate(),
        address("heron", name),
        reason=name,
        remarks=(name,),
        comparison=a_comparison(samples=(a_sample(name.encode("utf-8", "surrogateescape")),)),
    )
    finding = replace(
        a_finding("age", name, evidence=(an_item(name, name),)), message=name, mend=name, measured=name, required=name
    )
    settled = replace(finding, rule="copies", answer=Answer.CONFORMITY)
    dataset = a_dataset(name, (copy,), conclusion=Conclusion.NONCONFORMING, findings=(finding, settled))
    gone = Incident(
        finding=finding,
        dataset=dataset.id,
        began=WEEK_FROM,
        ended=NOW,
        worst=Answer.NONCONFORMITY,
        ended_as=Answer.CONFORMITY,
    )
    back = LookBack(
        since=NOW - timedelta(days=365),
        until=NOW,
        audits=(an_audit(NOW - timedelta(days=3)), an_audit(NOW)),
        nights=(
            NightRecord(
                night=NOW.date() - timedelta(days=1),
                started=NOW - timedelta(days=1),
                finished=NOW,
                outcome=NightOutcome.FAILED,
                detail=name,
            ),
        ),
        incidents=(gone, replace(gone, began=NOW, ended=None, ended_as=None)),
        events=(EstateEvent(at=NOW, change=EstateChange(kind=ChangeKind.CAME, part="device", name=name, who=name)),),
    )
    whole = judged((dataset,), findings=(finding, settled), gaps=(a_gap(name, GapKind.CUT, name),))
    return weekly_page(whole, an_estate((dataset,)), back, since={}, week_from=WEEK_FROM, now=NOW)
