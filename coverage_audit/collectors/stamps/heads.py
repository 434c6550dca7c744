"""Where a name says a date: the usual spellings of a date or of a whole instant, each with digits' ends around it.

Dates: ISO 8601 basic, extended (also with dots or underscores in place of the hyphens), week dates, the token
`@GMT-YYYY.MM.DD-HH.MM.SS` of SMB's previous versions ([MS-SMB2] 2.2.5), run-together digits, seconds or milliseconds
since 1970. Years are those of 1900 to 2099.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final

from coverage_audit.collectors.stamps.local_time import NoPointError

_YEAR: Final = r"(?<![0-9])(?P<year>(?:19|20)[0-9]{2})"
_EXTENDED: Final = re.compile(_YEAR + r"(?P<mark>[-._])(?P<month>[0-9]{2})(?P=mark)(?P<day>[0-9]{2})(?![0-9])")
_DIGITS: Final = re.compile(
    _YEAR + r"(?P<month>[0-9]{2})(?P<day>[0-9]{2})(?:(?P<h>[0-9]{2})(?P<m>[0-9]{2})(?P<s>[0-9]{2})?)?(?![0-9])"
)
_WEEK: Final = re.compile(_YEAR + r"(?P<mark>-?)W(?P<week>[0-9]{2})(?:(?P=mark)(?P<day>[1-7])(?![0-9]))?(?![0-9])")
_TOKEN: Final = re.compile(
    r"@GMT-(?P<year>[0-9]{4})\.(?P<month>[0-9]{2})\.(?P<day>[0-9]{2})"
    r"-(?P<h>[0-9]{2})\.(?P<m>[0-9]{2})\.(?P<s>[0-9]{2})(?![0-9])"
)
_EPOCH: Final = re.compile(r"(?<![0-9])(?P<seconds>[1-4][0-9]{9})(?P<thousandths>[0-9]{3})?(?![0-9])")
_LAST_SECOND: Final = 4102444799  # of 2099
_EITHER_WAY: Final = re.compile(r"(?<![0-9])[0-9]{1,2}([-._])[0-9]{1,2}\1(?:19|20)[0-9]{2}(?![0-9])")


@dataclass(frozen=True, kw_only=True)
class Head:
    """A date that a name says, `from` and `to` which letter; with `time` where the spelling has it in itself.

    `length` is in days. `utc`: the spelling itself means UTC. `form` names the spelling. `open`: a time may follow.
    """

    begin: int
    end: int
    day: date
    form: str
    length: int = 1
    time: datetime | None = None
    utc: bool = False
    open: bool = False


def heads(name: str) -> Iterator[Head]:
    """Give every date that a name says, from the left, without overlap.

    Raises NoPointError where one is no date of the calendar, or could be read in two ways.
    """
    at = 0
    while True:
        found = [match for shape, _ in _SHAPES if (match := shape.search(name, at))]
        if not found:
            break
        first = min(found, key=lambda match: match.start())
        read = next(make for shape, make in _SHAPES if shape is first.re)
        _no_other_order(name, at, first.start())
        yield read(first)
        at = first.end()
    _no_other_order(name, at, len(name))


def _no_other_order(name: str, begin: int, end: int) -> None:
    match = _EITHER_WAY.search(name, begin)
    if match is not None and match.start() < end:
        raise NoPointError(f"“{match.group()}” may be day or month first: give a pattern")


def _date(found: re.Match[str]) -> date:
    try:
        return date(int(found["year"]), int(found["month"]), int(found["day"]))
    except ValueError:
        raise NoPointError(f"“{found.group()}” is no date of the calendar") from None


def _moment(found: re.Match[str]) -> datetime:
    day = _date(found)
    try:
        return datetime(day.year, day.month, day.day, int(found["h"]), int(found["m"]), int(found["s"] or 0))  # noqa: DTZ001 - the zone is decided by the caller
    except ValueError:
        raise NoPointError(f"“{found.group()}” says a time that no day has") from None


def _extended(found: re.Match[str]) -> Head:
    return _head(found, _date(found), f"date{found['mark']}", open=True)


def _digits(found: re.Match[str]) -> Head:
    if found["h"] is None:
        return _head(found, _date(found), "date", open=True)
    moment = _moment(found)
    return _head(found, moment.date(), f"digits{len(found.group())}", time=moment, open=True)


def _week(found: re.Match[str]) -> Head:
    try:
        day = date.fromisocalendar(int(found["year"]), int(found["week"]), int(found["day"] or 1))
    except ValueError:
        raise NoPointError(f"“{found.group()}” is no week of the calendar") from None
    if found["day"] is None:
        return _head(found, day, f"week{found['mark']}", length=7)
    return _head(found, day, f"weekday{found['mark']}", open=True)


def _token(found: re.Match[str]) -> Head:
    moment = _moment(found)
    return _head(found, moment.date(), "@GMT", time=moment, utc=True)


def _epoch(found: re.Match[str]) -> Head:
    seconds, thousandths = int(found["seconds"]), int(found["thousandths"] or 0)
    if found["thousandths"] is None and _may_be_hours(found.group()):
        raise NoPointError(f"“{found.group()}” may be a date with its hour or seconds since 1970: give a pattern")
    if seconds > _LAST_SECOND:
        raise NoPointError(f"“{found.group()}” lies after 2099")
    moment = datetime(1970, 1, 1) + timedelta(seconds=seconds, milliseconds=thousandths)  # noqa: DTZ001 - in UTC, as `utc` says
    return _head(found, moment.date(), f"epoch{len(found.group())}", time=moment, utc=True)


def _may_be_hours(text: str) -> bool:
    try:
        datetime.strptime(text, "%Y%m%d%H").replace(tzinfo=UTC)
    except ValueError:
        return False
    return text.startswith(("19", "20"))


def _head(  # noqa: PLR0913 - what a spelling can say
    found: re.Match[str],
    day: date,
    form: str,
    *,
    length: int = 1,
    time: datetime | None = None,
    utc: bool = False,
    open: bool = False,  # noqa: A002 - the field's name
) -> Head:
    return Head(begin=found.start(), end=found.end(), day=day, form=form, length=length, time=time, utc=utc, open=open)


_SHAPES: Final[tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], Head]], ...]] = (
    (_TOKEN, _token),
    (_EXTENDED, _extended),
    (_WEEK, _week),
    (_DIGITS, _digits),
    (_EPOCH, _epoch),
)
