"""Names read by a declared `strptime` pattern."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Final

from coverage_audit.collectors.stamps.local_time import NoPointError, Span, Zone, days, instant, local_instant

_DIRECTIVE: Final = re.compile(r"%[A-Za-z%]")
_UTC_AFTER_TIME: Final = re.compile(r"(?<!%)%[HMSfTXc] ?(?:Z|UTC|GMT)(?![A-Za-z])")
_GMT_TOKEN: Final = re.compile(r"@GMT-%Y")
_YEARS: Final = frozenset({"%Y", "%y", "%G", "%c", "%x"})
_HOURS: Final = frozenset({"%H", "%I", "%c", "%X", "%T", "%R"})


def says_utc(pattern: str) -> bool:
    """Whether the pattern's own letters say UTC: ISO 8601's Z right after a time, UTC, GMT, or an @GMT- token."""
    return bool(_UTC_AFTER_TIME.search(pattern) or _GMT_TOKEN.search(pattern))


def span_by_pattern(name: str, pattern: str, zone: Zone) -> Span:
    """Return what `name` may mean: an instant, two in the hour that is repeated, or the day where it has no time.

    Raises NoPointError where the name has another shape, no year or zone, or a local time that never was.
    """
    read, utc = _read(name, pattern)
    given = set(_DIRECTIVE.findall(pattern))
    if not _YEARS & given:
        raise NoPointError("its pattern has no year")
    if read.tzinfo is not None:
        return instant(read)
    in_utc = utc or says_utc(pattern)
    if not _HOURS & given:
        return days(read.date(), 1, UTC if in_utc else zone)
    return instant(read.replace(tzinfo=UTC)) if in_utc else local_instant(read, zone)


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
