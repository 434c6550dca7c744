"""What changed in a week, and which nights had no audit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Acceptance, Answer, JudgedEstate
from coverage_audit.ledger.past_record import Incident, LookBack, NightOutcome, NightRecord
from coverage_audit.reports.days import span_of
from coverage_audit.reports.nights_view import nights_view
from coverage_audit.reports.page_words import Clock
from coverage_audit.reports.week import WeekView, by_dataset, week_view
from tests.builders.judged import DUBLIN, NOW, a_dataset, a_finding, an_estate, judged
from tests.builders.past_days import an_audit
from tests.builders.year_of_the_station import WEEK_FROM, a_year_of_the_station

DAY = timedelta(days=1)
CLOCK = Clock(zone=DUBLIN, now=NOW)


def an_incident(name: str, began: int, ended: int | None = None, how: Answer | None = None) -> Incident:
    """A finding that began so many days ago."""
    return Incident(
        finding=a_finding("age", name),
        dataset=None,
        began=NOW - began * DAY,
        ended=None if ended is None else NOW - ended * DAY,
        worst=Answer.NONCONFORMITY,
        ended_as=how,
    )


def looked(back: LookBack, whole: JudgedEstate | None = None) -> WeekView:
    return week_view(whole or judged(()), back, span_of(back, an_estate(), NOW), WEEK_FROM, CLOCK)


def nightly(*left_out: int, nights: tuple[NightRecord, ...] = (), incidents: tuple[Incident, ...] = ()) -> LookBack:
    """A month of nights, some of them (so many days ago) without an audit."""
    audits = tuple(an_audit(NOW - ago * DAY) for ago in range(30, -1, -1) if ago not in left_out)
    return LookBack(since=NOW - 365 * DAY, until=NOW, audits=audits, nights=nights, incidents=incidents)


def night(ago: int, outcome: NightOutcome | None, detail: str = "", missed: int = 0) -> NightRecord:
    begun = NOW - ago * DAY
    return NightRecord(
        night=begun.date(),
        started=begun,
        finished=begun if outcome else None,
        outcome=outcome,
        detail=detail,
        missed=missed,
        missed_since=begun.date() - missed * DAY if missed else None,
    )


def test_findings_stand_where_they_belong() -> None:
    found = looked(
        nightly(
            incidents=(
                an_incident("old and lasting", 20),
                an_incident("over before", 20, 9, Answer.CONFORMITY),
                an_incident("began and lasts", 3),
                an_incident("old and over", 20, 2, Answer.CONFORMITY),
                an_incident("came and went", 5, 1, Answer.OBSERVATION),
                an_incident("waived", 20, 2, Answer.WAIVED),
                an_incident("left the estate", 20, 2),
            )
        )
    )
    assert [one.finding.subject for one in found.begun] == ["began and lasts"]
    assert {one.finding.subject: (one.over, one.lasted) for one in found.ended} == {
        "old and over": ("recovered", "18 days"),
        "came and went": ("recovered", "4 days"),
        "waived": ("waived", "18 days"),
        "left the estate": ("not asked for any more", "18 days"),
    }
    assert not found.quiet


def test_a_week_in_which_nothing_changed_is_quiet() -> None:
    found = looked(nightly())
    assert found.quiet
    assert (found.nights, found.missing) == (7, ())


def test_nights_without_an_audit_are_named_with_the_reason_that_is_known() -> None:
    records = (night(1, NightOutcome.AUDITED, missed=2), night(5, NightOutcome.FAILED, "No space left on device"))
    found = looked(nightly(2, 3, 5, 6, nights=records))
    assert [(gap.count, gap.why) for gap in found.missing] == [
        (1, "no audit is on record"),
        (1, "it failed: No space left on device"),
        (2, "the auditor was off or asleep"),
    ]
    assert found.missing[2].first == (NOW - 3 * DAY).date()
    assert found.missing[2].last == (NOW - 2 * DAY).date()


def test_a_night_that_failed_keeps_its_reason_though_the_next_one_counts_it_among_those_missed() -> None:
    records = (night(2, NightOutcome.FAILED, "its process was ended by signal 9"), night(1, None, missed=2))
    found = looked(nightly(2, 3, nights=records))
    assert [(gap.count, gap.why) for gap in found.missing] == [
        (1, "the auditor was off or asleep"),
        (1, "it failed: its process was ended by signal 9"),
    ]


def test_a_night_that_was_begun_and_cut_off_says_so() -> None:
    (gap,) = looked(nightly(2, nights=(night(2, None),))).missing
    assert gap.why == "it was begun and has not ended"
    (gap,) = looked(nightly(2, nights=(night(2, NightOutcome.BUSY),))).missing
    assert gap.why == "another audit was at work until the next night was due"


def test_nights_before_the_first_audit_are_not_missing() -> None:
    back = replace(nightly(), audits=(an_audit(NOW - 2 * DAY), an_audit(NOW)))
    found = looked(back)
    assert (found.nights, [gap.count for gap in found.missing]) == (3, [1])


def test_a_waiver_is_told_in_the_week_in_which_it_was_given() -> None:
    def waived(ago: int) -> JudgedEstate:
        acceptance = Acceptance(
            who="R. Byrne", why="ordered", given=NOW - ago * DAY, until=NOW + DAY, answer=Answer.NONCONFORMITY
        )
        finding = replace(a_finding("offline", "maps", Answer.WAIVED), acceptance=acceptance)
        return judged((a_dataset("maps", (), findings=(finding,)),))

    (given,) = looked(nightly(), waived(2)).waivers
    assert (given.who, given.why) == ("R. Byrne", "ordered")
    assert looked(nightly(), waived(9)).waivers == ()


def test_the_nights_of_a_year_add_up() -> None:
    year = a_year_of_the_station()
    found = nights_view(year.back, span_of(year.back, year.estate, NOW))
    assert found.counts.known == 339
    assert [(gap.first, gap.count) for gap in found.missing] == [
        (date(2026, 3, 9), 1),
        (date(2026, 8, 14), 3),
        (date(2026, 11, 21), 1),
    ]
    assert sum(gap.count for gap in found.missing) == found.counts.no_audit
    assert sum(month.counts.known for month in found.months) == 339
    assert found.months[0].begins == 1
    assert [month.begins + month.strip.width - 1 for month in found.months][-2:] == [31, 25]


def test_findings_of_one_dataset_stand_together_behind_the_one_they_follow_from() -> None:
    def of(rule: str, name: str, began: int = 3, ended: int | None = None) -> Incident:
        usual = an_incident(name, began, ended, None if ended is None else Answer.CONFORMITY)
        return replace(usual, finding=a_finding(rule, name), dataset=DatasetId(name))

    told = looked(
        nightly(
            incidents=(
                of("copies", "maps"),
                of("completeness", "maps", 2),
                of("media", "letters"),
                of("age", "maps", 20, 1),
            )
        )
    )
    groups = by_dataset((*told.begun, *told.ended))
    assert [(group.first.finding.id, [one.finding.id for one in group.others]) for group in groups] == [
        ("completeness:maps", ["copies:maps"]),
        ("media:letters", []),
        ("age:maps", []),  # it is over: a line of its own
    ]
