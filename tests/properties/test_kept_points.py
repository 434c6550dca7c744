"""Kept points against a calendar that is gone through day by day, over years and zones, night after night.

The model knows no slots: it names each local day by strftime (C standard; ISO 8601 weeks) and remembers every list.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.criteria import Keep
from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.evidence.points_past import PointsPast, begun_with, brought_up_to
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.dated import Dated
from coverage_audit.judgement.kept_slots import Why, held
from coverage_audit.judgement.verdict import Answer
from coverage_audit.reckoning.slots import slot_of
from tests.builders.cases import a_point, judged_copy
from tests.builders.dated import asked, found_by, kept, nights, past_of
from tests.builders.station import an_address, changed

DAY = timedelta(days=1)
ZONES = st.sampled_from(
    ["Europe/Dublin", "America/St_Johns", "Asia/Kathmandu", "Pacific/Apia", "Australia/Lord_Howe", "UTC"]
).map(ZoneInfo)
NAMES = {"day": "%Y-%m-%d", "week": "%G-W%V", "month": "%Y-%m", "year": "%Y"}
PLACE = an_address("heron:pool/.points/{point}/recordings")
COPY = judged_copy(kept(nights(0)))
AGES = st.integers(0, 800)


@dataclass
class History:
    """A copy whose points come and go, audited at noon of some days by local clocks."""

    zone: ZoneInfo
    past: PointsPast | None = None
    last: PointList | None = None
    ever: set[date] = field(default_factory=set)
    first_listed: date | None = None

    def audit(self, today: date, days: Iterable[date], hour: int = 1) -> Dated:
        """List the points of these local days."""
        there = sorted(set(days))
        now = self.at(today, 12)
        points = tuple(a_point(day.isoformat(), self.at(day, hour)) for day in there)
        listed = PointList(address=PLACE, at=now, points=points)
        past = (
            begun_with(listed)
            if self.past is None or self.last is None
            else brought_up_to(self.past, self.last, listed)
        )
        self.past, self.last, self.first_listed = past, listed, self.first_listed or today
        self.ever |= {self.day(point) for point in points}
        copy = replace(COPY, evidence=replace(COPY.evidence, points=listed, past=past))
        return Dated(copy=copy, points=points, at=now, past=past)

    def at(self, day: date, hour: int) -> datetime:
        """An instant by local clocks."""
        return datetime.combine(day, time(hour), self.zone).astimezone(UTC)

    def day(self, point: RecoveryPoint) -> date:
        """The local day of a point (the day that Apia left out was none)."""
        return point.earliest.astimezone(self.zone).date()

    def model(self, name: str, count: int, today: date) -> dict[str, Why]:
        """What is lacking and why, by going back day by day."""
        assert self.last is not None
        assert self.first_listed is not None
        there = {self.day(point) for point in self.last.points}
        day, slots = today, dict[str, list[date]]()
        filled = any(point.strftime(NAMES[name]) == today.strftime(NAMES[name]) for point in there)
        while len(slots) <= count:
            if filled or day.strftime(NAMES[name]) != today.strftime(NAMES[name]):
                slots.setdefault(day.strftime(NAMES[name]), []).append(day)
            day -= DAY
        *whole, _ = slots.items()
        return {slot: self._why(days) for slot, days in whole if not there & set(days)}

    def _why(self, days: Sequence[date]) -> Why:
        if self.ever & set(days):
            return Why.WENT
        before = any(day < max(days) for day in self.ever) or (self.first_listed or date.max) < min(days)
        return Why.NONE if before else Why.NOT_YET


@settings(max_examples=150, deadline=None)
@given(
    ZONES,
    st.dates(date(2004, 1, 1), date(2037, 1, 1)),
    st.dictionaries(st.integers(0, 400), st.sets(AGES, max_size=25), min_size=1, max_size=5),
    st.sampled_from(sorted(NAMES)),
    st.integers(1, 14),
)
def test_slots_stand_as_a_calendar_and_every_list_ever_seen_show(
    zone: ZoneInfo, today: date, lists: dict[int, set[int]], name: str, count: int
) -> None:
    history = History(zone)
    keep = changed(Keep(), **{{"day": "daily"}.get(name, f"{name}ly"): count})
    for ago, ages in sorted(lists.items(), reverse=True):
        day = today - ago * DAY
        dated = history.audit(day, (day - age * DAY for age in ages))

        (found,) = held(keep, [dated], today=day, zone=zone)

        assert {str(empty.slot): empty.why for empty in found.empty} == history.model(name, count, day)
        assert found.asked == count


@settings(max_examples=40, deadline=None)
@given(ZONES, st.dates(date(2005, 1, 1), date(2036, 1, 1)), st.integers(1, 11), st.integers(1, 20))
def test_what_is_not_there_yet_is_there_by_the_day_told_and_not_long_before(
    zone: ZoneInfo, begun: date, months: int, weeks: int
) -> None:
    history, keep = History(zone), Keep(weekly=weeks, monthly=months)
    first = held(keep, [history.audit(begun, [begun])], today=begun, zone=zone)
    told = [each.complete for each in first]

    for number, complete in enumerate(told):
        if complete is None:
            assert first[number].asked == 1
            continue
        last = slot_of(complete - DAY, first[number].span)
        for today, lacking in ((complete, False), (last.first - DAY, True)):
            if today < begun:
                continue
            each_day = (begun + age * DAY for age in range((today - begun).days + 1))
            again = held(keep, [History(zone).audit(today, each_day)], today=today, zone=zone)
            assert bool(again[number].empty) is lacking


@settings(max_examples=25, deadline=None)
@given(ZONES, st.dates(date(2006, 1, 1), date(2036, 1, 1)), st.integers(1, 11))
def test_a_pruned_month_is_found_on_the_day_it_happens(zone: ZoneInfo, day: date, month: int) -> None:
    keep = Keep(daily=7, monthly=12)
    history = History(zone)

    def there(today: date) -> set[date]:
        months = (divmod(12 * today.year + today.month - 1 - number, 12) for number in range(16))
        firsts = {date(year, index + 1, 2) for year, index in months}
        return {one for one in firsts if one <= today} | {today - age * DAY for age in range(9)}

    for ago in (2, 1):
        today = day - ago * DAY
        before = held(keep, [history.audit(today, there(today))], today=today, zone=zone)
        assert [each.empty for each in before] == [(), ()]
    victim = day.replace(day=1)
    for _ in range(month):
        victim = (victim - DAY).replace(day=1)
    left = {one for one in there(day) if (one.year, one.month) != (victim.year, victim.month)}

    _, months = held(keep, [history.audit(day, left)], today=day, zone=zone)

    assert [(str(one.slot), one.why) for one in months.empty] == [(f"{victim:%Y-%m}", Why.WENT)]


RANK = {Answer.CONFORMITY: 0, Answer.OBSERVATION: 0, Answer.UNVERIFIED: 1, Answer.NONCONFORMITY: 1}


@settings(max_examples=60, deadline=None)
@given(st.sets(st.integers(0, 60), min_size=1), st.sets(st.integers(0, 60)), st.integers(0, 10), st.integers(0, 6))
def test_a_point_less_never_makes_what_is_kept_better(ages: set[int], gone: set[int], daily: int, weekly: int) -> None:
    before = nights(*ages)
    keep = Keep(daily=daily, weekly=weekly, span=14 * DAY)

    def answer(points: Sequence[RecoveryPoint]) -> Answer:
        evidence = kept(points)
        evidence = replace(evidence, past=past_of(evidence, (1, before)))
        case: DatasetCase = asked(evidence, keep=keep)
        return found_by("kept-points", case).answer

    assert RANK[answer(nights(*ages - gone))] >= RANK[answer(before)]
