"""Wall times of a zone as instants (pure; the zone data is Python's)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

_QUARTER: Final = timedelta(minutes=15)


class NoPointError(ValueError):
    """A name that is no recovery point; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Zone:
    """The zone for names that have none, and where it was taken from; `None` when there is none to take."""

    zone: ZoneInfo | None
    source: str = ""

    @property
    def words(self) -> str:
        """Say which zone was assumed and why."""
        return f"{self.zone}, {self.source}" if self.source else str(self.zone)

    @property
    def known(self) -> ZoneInfo:
        """The zone. Raises NoPointError where there is none."""
        if self.zone is None:
            raise NoPointError("it has no time zone, and neither the estate nor the device says one")
        return self.zone


@dataclass(frozen=True, kw_only=True)
class Span:
    """The earliest and latest instant (UTC) that a name may mean; `assumed`: it bears no zone, so one was assumed."""

    earliest: datetime
    latest: datetime
    assumed: bool = False

    def holds(self, other: Span) -> bool:
        """Whether the other lies within this one."""
        return self.earliest <= other.earliest and other.latest <= self.latest


def instant(aware: datetime) -> Span:
    """Return the span of one instant. Raises NoPointError where it lies beyond what a calendar can hold."""
    try:
        said = aware.astimezone(UTC)
    except OverflowError:
        raise NoPointError("its time lies beyond the calendar") from None
    return Span(earliest=said, latest=said)


def local_instant(wall: datetime, zone: Zone) -> Span:
    """Return what a wall time means in a zone: one instant, or two in the hour that is repeated (PEP 495).

    Raises NoPointError where there is no zone or no such local time.
    """
    earliest, latest = _local(wall, zone.known)
    return Span(earliest=earliest, latest=latest, assumed=True)


def days(first: date, count: int, zone: tzinfo | Zone) -> Span:
    """Return the span of whole days: from the start of the first to the start of the day after the last.

    A day without a midnight starts later. Raises NoPointError where there is no zone.
    """
    known = zone.known if isinstance(zone, Zone) else zone
    try:
        ends = _start_of(first, known)[0], _start_of(first + timedelta(days=count), known)[1]
    except OverflowError:
        raise NoPointError("its time lies beyond the calendar") from None
    return Span(earliest=ends[0], latest=ends[1], assumed=isinstance(zone, Zone))


def _local(wall: datetime, zone: tzinfo) -> tuple[datetime, datetime]:
    try:
        ends = sorted(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    except OverflowError:
        raise NoPointError("its time lies beyond the calendar") from None
    if all(end.astimezone(zone).replace(tzinfo=None) != wall for end in ends):
        raise NoPointError(f"there was no such local time in {zone}")
    return ends[0], ends[1]


def _start_of(day: date, zone: tzinfo) -> tuple[datetime, datetime]:
    midnight = datetime.combine(day, time())
    try:
        return _local(midnight, zone)
    except NoPointError:  # clocks went forward at midnight
        moment = (midnight - timedelta(hours=3)).replace(tzinfo=zone).astimezone(UTC)
        while moment.astimezone(zone).replace(tzinfo=None) < midnight:
            moment += _QUARTER
        return moment, moment
