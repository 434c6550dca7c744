"""From the name of a dated folder to the instant that it means (pure; the zone data is Python's)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final
from zoneinfo import ZoneInfo

_DIRECTIVE: Final = re.compile(r"%[A-Za-z%]")
_UTC_AFTER_TIME: Final = re.compile(r"(?<!%)%[HMSfTXc] ?(?:Z|UTC|GMT)(?![A-Za-z])")
_GMT_TOKEN: Final = re.compile(r"@GMT-%Y")
_YEARS: Final = frozenset({"%Y", "%y", "%G", "%c", "%x"})
_HOURS: Final = frozenset({"%H", "%I", "%c", "%X", "%T", "%R"})


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


def says_utc(pattern: str) -> bool:
    """Whether the pattern's own letters say UTC: ISO 8601's Z right after a time, UTC, GMT, or an @GMT- token."""
    return bool(_UTC_AFTER_TIME.search(pattern) or _GMT_TOKEN.search(pattern))


def interval(name: str, pattern: str, zone: Zone) -> tuple[datetime, datetime, bool]:
    """Return the earliest and latest instant (UTC) that `name` may mean, and whether the zone was assumed.

    Both are the same but in the hour that is repeated when clocks go back (PEP 495). A name without a time of
    day means the start of its day: the latest that it could have been meant to hold is not known.
    Raises NoPointError where the name has another shape, no year or zone, or a local time that never was.
    """
    read, utc = _read(name, pattern)
    if not _YEARS & set(_DIRECTIVE.findall(pattern)):
        raise NoPointError("its pattern has no year")
    if read.tzinfo is not None:
        return _both(read.astimezone(UTC), assumed=False)
    if utc or says_utc(pattern):
        return _both(read.replace(tzinfo=UTC), assumed=False)
    if zone.zone is None:
        raise NoPointError("it has no time zone, and neither the estate nor the device says one")
    if not _HOURS & set(_DIRECTIVE.findall(pattern)):
        read = _first_of_day(read, zone.zone)
    return (*_local(read, zone.zone), True)


def _both(instant: datetime, *, assumed: bool) -> tuple[datetime, datetime, bool]:
    return instant, instant, assumed


def _read(name: str, pattern: str) -> tuple[datetime, bool]:
    if any(letter.isdigit() and not letter.isascii() for letter in name):
        raise NoPointError("its digits are not the plain ones")
    for shape, utc in _spellings(pattern):
        try:
            return datetime.strptime(name, shape), utc  # noqa: DTZ007 - the zone is decided by the caller
        except (ValueError, re.error):
            continue
    raise NoPointError(f"it does not match {pattern}")


def _spellings(pattern: str) -> Iterator[tuple[str, bool]]:
    """Spell out `%Z`: strptime takes the auditor's own zone names for it and then forgets them."""
    if "%Z" not in _DIRECTIVE.findall(pattern):
        yield pattern, False
        return
    for word in ("UTC", "GMT", "Z"):
        yield _DIRECTIVE.sub(_replaced(word), pattern), True


def _replaced(word: str) -> Callable[[re.Match[str]], str]:
    return lambda found: word if found.group() == "%Z" else found.group()


def _local(wall: datetime, zone: tzinfo) -> tuple[datetime, datetime]:
    ends = sorted(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if all(end.astimezone(zone).replace(tzinfo=None) != wall for end in ends):
        raise NoPointError(f"there was no such local time in {zone}")
    return ends[0], ends[1]


def _first_of_day(midnight: datetime, zone: tzinfo) -> datetime:
    """Where clocks went forward at midnight, the day starts later."""
    before = (midnight - timedelta(hours=3)).replace(tzinfo=zone).astimezone(UTC)
    if midnight.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None) == midnight:
        return midnight
    step = timedelta(minutes=15)
    while before.astimezone(zone).replace(tzinfo=None) < midnight:
        before += step
    return before.astimezone(zone).replace(tzinfo=None)
