"""The patterns that an owner writes: names of recovery points (`strptime`), and names to leave out.

A pattern of recovery points must say one instant: a whole date, and nothing that depends on a century, a half of the
day or a language that is only guessed. A zone is optional (`%z`); without one the device's zone is taken.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from pathspec import GitIgnoreSpec

from coverage_audit.estate.mistakes import shown

_DATES: Final = ({"%Y", "%m", "%d"}, {"%Y", "%b", "%d"}, {"%Y", "%B", "%d"}, {"%Y", "%j"}, {"%G", "%V", "%u"})
_ALLOWED: Final = frozenset("YmdbBjGVuaAHIpMSfz%")
_REFUSED: Final = {
    "y": "%y leaves the century open (write %Y)",
    "Z": "%Z is a zone's abbreviation, which several zones share (write %z, or none and give the device a time_zone)",
    "c": "%c depends on the language of the machine (spell the pattern out)",
    "x": "%x depends on the language of the machine (spell the pattern out)",
    "X": "%X depends on the language of the machine (spell the pattern out)",
    "F": "%F is not known here (write %Y-%m-%d)",
    "T": "%T is not known here (write %H:%M:%S)",
    "D": "%D leaves the century open (write %Y-%m-%d)",
    "U": "%U counts weeks in a way that few use (write %G and %V)",
    "W": "%W counts weeks in a way that few use (write %G and %V)",
}
_NEEDS: Final = (("%f", "%S"), ("%S", "%M"))
_EXAMPLE: Final = "e.g. %Y-%m-%dT%H%M%SZ"


def check_point_pattern(pattern: str) -> str:
    """Return the pattern as it is, if every name that it fits means one instant; ValueError else."""
    if "/" in pattern or "\0" in pattern:
        raise ValueError(f"{shown(pattern)} holds a '/' (the pattern is that of one part of the path)")
    directives = _directives(pattern)
    found = set(directives)
    if len(directives) != len(found):
        raise ValueError(f"{shown(pattern)} says a part of the date twice (write it once)")
    if not any(date <= found for date in _DATES):
        raise ValueError(f"{shown(pattern)} has no full date (year, month and day; {_EXAMPLE})")
    _check_time(pattern, found)
    _try_out(pattern)
    return pattern


def _directives(pattern: str) -> list[str]:
    found: list[str] = re.findall(r"%.?", pattern, flags=re.DOTALL)
    for directive in found:
        letter = directive[1:]
        if letter in _REFUSED:
            raise ValueError(_REFUSED[letter])
        if letter not in _ALLOWED or not letter:
            raise ValueError(f"{shown(pattern)} holds the unknown {shown(directive)} ({_EXAMPLE}; %% for a %)")
    return [directive for directive in found if directive != "%%"]


def _check_time(pattern: str, found: set[str]) -> None:
    if ("%I" in found) != ("%p" in found):
        raise ValueError(f"{shown(pattern)} leaves the half of the day open (write %H, or %I with %p)")
    if {"%I", "%H"} <= found:
        raise ValueError(f"{shown(pattern)} says the hour twice (write %H alone)")
    hour = bool(found & {"%H", "%I"})
    for small, large in _NEEDS:
        if small in found and large not in found:
            raise ValueError(f"{shown(pattern)} has {small} without {large} ({_EXAMPLE})")
    if "%M" in found and not hour:
        raise ValueError(f"{shown(pattern)} has %M, the minute, without an hour (write %H, or %m for the month)")
    if "%z" in found and not hour:
        raise ValueError(f"{shown(pattern)} has a zone without an hour ({_EXAMPLE})")


def _try_out(pattern: str) -> None:
    """Write an instant by the pattern and read it back: what the library refuses is refused here."""
    instant = datetime(2026, 11, 25, 16, 10, 42, 123456, tzinfo=UTC)
    try:
        back = datetime.strptime(instant.strftime(pattern), pattern)  # noqa: DTZ007 - only the date is looked at
    except (ValueError, re.error) as error:
        raise ValueError(f"{shown(pattern)} cannot be read back ({_EXAMPLE})") from error
    if back.date() != instant.date():
        raise ValueError(f"{shown(pattern)} is ambiguous: what it writes it reads as another day ({_EXAMPLE})")


_PROBES: Final = ("qzx-7f3a", "qzx-7f3a/kwv-91/qzx.k2v")


def check_left_out(pattern: str, later: Sequence[str] = ()) -> str:
    """Return one pattern of a list of names to leave out (gitignore syntax), if it means something.

    ValueError for one that is blank, a comment or no pattern, or that leaves everything out with none among the
    `later` ones of its list that takes something back (`!`; of several that match, the last counts).
    """
    if not pattern.strip():
        raise ValueError("the pattern is blank (remove it)")
    if pattern.startswith("#"):
        raise ValueError(f"{shown(pattern)} would be a comment (write '\\{pattern[:1]}...' for a name that begins so)")
    if any(letter in pattern for letter in "\0\n\r"):
        raise ValueError(f"{shown(pattern)} spans lines (one name a pattern)")
    try:
        spec = GitIgnoreSpec.from_lines([pattern])
    except (ValueError, re.error) as error:
        raise ValueError(f"{shown(pattern)} is no pattern (write it as in a .gitignore)") from error
    takes_back = any(other.startswith("!") for other in later)
    if not takes_back and all(spec.match_file(probe) for probe in _PROBES):
        raise ValueError(f"{shown(pattern)} leaves everything out: nothing would be audited (be narrower)")
    return pattern
