"""What changed since last week: findings that began and that are over, the estate, waivers, nights without audit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from coverage_audit.estate.model import DatasetId
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.verdict import Acceptance, Answer, Finding, JudgedEstate
from coverage_audit.judgement.wording import last_day
from coverage_audit.ledger.past_record import Incident, LookBack
from coverage_audit.reports.days import DayState, Span, states_of_audits
from coverage_audit.reports.nights_view import MissingNights, missing_nights
from coverage_audit.reports.page_words import Clock, EventView, Moment, events_view
from coverage_audit.reports.situation import cause_rank


@dataclass(frozen=True, kw_only=True)
class IncidentView:
    """A finding that began or ended in the week. `lasted` and `over` (how it ended) are None while it lasts.

    `linked`: its dataset stands on the page.
    """

    finding: Finding
    dataset: DatasetId | None
    worst: Answer
    began: Moment
    ended: Moment | None
    lasted: str | None
    over: str | None
    linked: bool


@dataclass(frozen=True, kw_only=True)
class IncidentGroup:
    """What began or ended of one dataset: the finding to begin with, and the others."""

    first: IncidentView
    others: tuple[IncidentView, ...]


@dataclass(frozen=True, kw_only=True)
class GivenView:
    """A waiver that was given in the week."""

    finding: Finding
    who: str
    why: str
    until: str


@dataclass(frozen=True, kw_only=True)
class WeekView:
    """What changed since `begins`. Of `nights` nights the `missing` had no audit."""

    begins: Moment
    begun: tuple[IncidentView, ...]
    ended: tuple[IncidentView, ...]
    events: tuple[EventView, ...]
    waivers: tuple[GivenView, ...]
    missing: tuple[MissingNights, ...]
    nights: int

    @property
    def quiet(self) -> bool:
        """Whether nothing changed."""
        return not (self.begun or self.ended or self.events or self.waivers or self.missing)


def week_view(judged: JudgedEstate, back: LookBack, span: Span, week_from: datetime, clock: Clock) -> WeekView:
    """Prepare what changed after `week_from`."""
    begun = [one for one in back.incidents if one.began > week_from and one.ended is None]
    ended = [one for one in back.incidents if one.ended is not None and one.ended > week_from]
    known = frozenset(dataset.id for dataset in judged.datasets)
    days = _days(back, span, span.of(week_from))
    return WeekView(
        begins=clock.moment(week_from),
        begun=tuple(_incident(one, known, clock) for one in _worst_first(begun)),
        ended=tuple(_incident(one, known, clock) for one in _worst_first(ended)),
        events=events_view((event for event in back.events if event.at > week_from), clock),
        waivers=tuple(_waivers(judged, week_from, clock)),
        missing=missing_nights(back, span, days),
        nights=len(days),
    )


def _days(back: LookBack, span: Span, begin: date) -> frozenset[date]:
    """Return the nights of the week: of those since the first audit that is known."""
    states = zip(span.all(), states_of_audits(back.audits, span), strict=True)
    return frozenset(day for day, state in states if day > begin and state is not DayState.BEFORE)


def _worst_first(incidents: Iterable[Incident]) -> list[Incident]:
    return sorted(
        incidents,
        key=lambda one: (one.worst is not Answer.NONCONFORMITY, cause_rank(one.finding), one.began, one.finding.id),
    )


def _incident(one: Incident, known: frozenset[DatasetId], clock: Clock) -> IncidentView:
    return IncidentView(
        finding=one.finding,
        dataset=one.dataset,
        worst=one.worst,
        began=clock.moment(one.began),
        ended=clock.maybe(one.ended),
        lasted=None if one.ended is None else format_duration(one.ended - one.began),
        over=None if one.ended is None else _over(one),
        linked=one.dataset in known,
    )


def by_dataset(incidents: Iterable[IncidentView]) -> tuple[IncidentGroup, ...]:
    """Put together what began, or ended in one way, of one dataset (of the estate itself); the order stays."""
    found: dict[tuple[DatasetId | None, str | None], list[IncidentView]] = {}
    for one in incidents:
        found.setdefault((one.dataset, one.over), []).append(one)
    return tuple(IncidentGroup(first=some[0], others=tuple(some[1:])) for some in found.values())


def _over(one: Incident) -> str:
    if one.recovered:
        return "recovered"
    return "waived" if one.ended_as is Answer.WAIVED else "not asked for any more"


def _waivers(judged: JudgedEstate, week_from: datetime, clock: Clock) -> Sequence[GivenView]:
    findings = (*judged.findings, *(each for dataset in judged.datasets for each in dataset.findings))
    given = [(each, each.acceptance) for each in findings if each.acceptance and each.answer is Answer.WAIVED]
    return [_given(finding, acceptance, clock) for finding, acceptance in given if acceptance.given > week_from]


def _given(finding: Finding, acceptance: Acceptance, clock: Clock) -> GivenView:
    until = last_day(acceptance.until, clock.zone)
    return GivenView(finding=finding, who=acceptance.who, why=acceptance.why, until=until)
