"""What follows a date in a name: a time of day, a zone, or something that only looks like one.

A zone is `Z`, UTC, GMT or an offset with hours and minutes (`+01` may stand alone, `-03` may be a number). What could
be a time or a zone is said to be open; what looks like either and is none of the usual spellings is refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from coverage_audit.collectors.stamps.local_time import NoPointError

_CLOCK: Final = re.compile(
    r"(?P<between>[Tt _.-])(?P<h>[0-9]{2})"
    r"(?:(?P<mark>[:._-])(?P<m>[0-9]{2})(?:(?P=mark)(?P<s>[0-9]{2}))?"
    r"|h(?P<mh>[0-9]{2})(?:m(?P<sh>[0-9]{2})s?)?"
    r"|(?P<mb>[0-9]{2})(?P<sb>[0-9]{2})?)(?![0-9])"
)
_FRACTION: Final = re.compile(r"[.,]([0-9]{9}|[0-9]{6}|[0-9]{3}|[0-9]{1,9}(?=Z|[+-][0-9]))(?![0-9])")
_UTC: Final = re.compile(
    r" ?Z(?![A-Za-z0-9])|[ _-]?(?:UTC|GMT)(?![A-Za-z0-9]|[+-][0-9]{1,2}(?::?[0-9]{2})?(?![0-9A-Za-z]))"
)
_OFFSET: Final = re.compile(r" ?(?P<sign>[+-])(?P<h>[0-9]{2})(?:(?P<mark>[:-]?)(?P<m>[0-9]{2}))?(?![0-9A-Za-z])")
_LOOKS_LIKE_TIME: Final = re.compile(r"[Tt][0-9]|[Tt _.-]?[0-9]{1,2}[:h][0-9]")
_LOOKS_LIKE_ZONE: Final = re.compile(
    r"[ _-]?(?:[ACEHIJKMNPSW]?[A-Z]?[DES]T|MSK|MESZ|MEZ|SGT|UTC|GMT)(?![A-Za-z])|[_-]Z(?![A-Za-z0-9])| ?\+[0-9]"
)
_HALF_OF_DAY: Final = re.compile(r"[ _-]?[AaPp]\.?[Mm](?![A-Za-z])")
_WIDEST_OFFSET: Final = 14  # hours (Kiribati; tz database)


@dataclass(frozen=True, kw_only=True)
class Tail:
    """The time of day after a date, its zone's offset (None: it bears none), and where the letters after it begin.

    `perhaps_zone`: the time could as well be the offset of a zone. `clock` None: there is no time of day.
    """

    end: int
    clock: timedelta | None = None
    offset: timedelta | None = None
    perhaps_zone: bool = False
    form: str = ""


def clock_after(name: str, at: int) -> Tail:
    """Read the time of day that stands at `at` (an empty tail where none does), and its zone.

    Raises NoPointError where it is no time of day, or cannot be told from something else.
    """
    found = _CLOCK.match(name, at)
    if found is None:
        return zone_after(name, at, Tail(end=at))
    hours, minutes, seconds = _figures(found)
    if hours > 23 or minutes > 59 or seconds > 59:
        raise NoPointError(f"“{found.group()[1:]}” after its date is no time of day")
    fraction = _FRACTION.match(name, found.end()) if _has_seconds(found) and found["mark"] in {None, ":"} else None
    part = timedelta(microseconds=int(fraction[1][:6].ljust(6, "0"))) if fraction else timedelta(0)
    clock = Tail(
        end=fraction.end() if fraction else found.end(),
        clock=timedelta(hours=hours, minutes=minutes, seconds=seconds) + part,
        perhaps_zone=_may_be_zone(found, hours, minutes),
        form=_form(found, fraction),
    )
    return zone_after(name, clock.end, clock)


def zone_after(name: str, at: int, tail: Tail) -> Tail:
    """Read the zone that stands at `at`. Raises NoPointError where something there only looks like one."""
    utc = _UTC.match(name, at)
    if utc is not None:
        return _zoned(tail, utc.end(), timedelta(0))
    found = _OFFSET.match(name, at)
    if found is not None and not (found["sign"] == "-" and _is_a_number(found, tail)):
        return _zoned(tail, found.end(), _offset(found))
    for looks, what in (
        (_LOOKS_LIKE_TIME if tail.clock is None else None, "a time of day, in none of the usual spellings"),
        (_HALF_OF_DAY, "a half of the day: give a pattern"),
        (_LOOKS_LIKE_ZONE, "a zone that names no offset for certain: give a pattern"),
    ):
        if looks is not None and looks.match(name, at):
            raise NoPointError(f"what follows its {'date' if tail.clock is None else 'time'} looks like {what}")
    return tail


def could_be_counted(tail: Tail) -> bool:
    """Whether the time has the shape that an offset of a zone could have too."""
    return tail.form.startswith(("-HHMM/", "-HH-MM/", "-HH:MM/"))


def _figures(found: re.Match[str]) -> tuple[int, int, int]:
    minutes = found["m"] or found["mh"] or found["mb"]
    return int(found["h"]), int(minutes), int(found["s"] or found["sh"] or found["sb"] or 0)


def _has_seconds(found: re.Match[str]) -> bool:
    return bool(found["s"] or found["sh"] or found["sb"])


def _form(found: re.Match[str], fraction: re.Match[str] | None) -> str:
    mark = found["mark"] or ("h" if found["mh"] else "")
    seconds = f"{mark}SS" if _has_seconds(found) else ""
    return f"{found['between']}HH{mark}MM{seconds}{'.f' if fraction else ''}/"


def _may_be_zone(found: re.Match[str], hours: int, minutes: int) -> bool:
    shape = found["between"] == "-" and not _has_seconds(found) and found["mark"] in {None, ":", "-"}
    return shape and not found["mh"] and hours <= _WIDEST_OFFSET and minutes in {0, 15, 30, 45}


def _is_a_number(found: re.Match[str], tail: Tail) -> bool:
    """Whether what a hyphen leads in is a number and no offset.

    Raises NoPointError where it may be either.
    """
    hours, minutes = int(found["h"]), int(found["m"] or 0)
    if hours > _WIDEST_OFFSET or minutes not in {0, 15, 30, 45}:
        return True
    if tail.clock is None:
        return True  # two figures after a date alone: its hour or a count, on that day either way
    if found["m"] is None or found["mark"] == "-" or "-MM" in tail.form:
        raise NoPointError(f"“{found.group()}” after its time may be a zone or a number: give a pattern")
    return False


def _offset(found: re.Match[str]) -> timedelta:
    hours, minutes = int(found["h"]), int(found["m"] or 0)
    if hours > _WIDEST_OFFSET or minutes > 59:
        raise NoPointError(f"“{found.group()}” after its time is no zone")
    size = timedelta(hours=hours, minutes=minutes)
    return -size if found["sign"] == "-" else size


def _zoned(tail: Tail, end: int, offset: timedelta) -> Tail:
    return Tail(end=end, clock=tail.clock, offset=offset, form=f"{tail.form}zone")
