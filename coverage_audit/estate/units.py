"""Durations and sizes: as the owner writes them, and as people read them.

Durations come in two spellings. The plain one: whole numbers with `s`, `min`, `h`, `d`, `w` or their English words,
the larger unit first (`26h`, `3d`, `1d 12h`, `90min`). The other is the grammar of RFC 3339 Appendix A (after
ISO 8601) without its calendar units: `PT26H`, `P1DT12H`, `P2W`. A month and a year are no fixed length, and an `m`
alone may be a minute, a month or a metre: all three are refused.

Sizes carry a decimal prefix of the SI (`kB` is 1000 B) or a binary one of IEC 80000-13 (`KiB` is 1024 B). `KB`, `K`,
`G` and the like mean both in daily use and are refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import timedelta
from fractions import Fraction
from operator import itemgetter
from typing import Final

LONGEST: Final = timedelta(days=36525)
"""The longest duration accepted: a hundred years, so that no instant minus it falls off the calendar."""

LARGEST: Final = 2**63 - 1
"""The largest size accepted, in bytes: what a signed 64-bit number holds."""

_SECONDS: Final[Mapping[str, int]] = {"w": 604_800, "d": 86_400, "h": 3_600, "min": 60, "s": 1}

_SPELLINGS: Final[Mapping[str, str]] = {
    **{unit: unit for unit in _SECONDS},
    **dict.fromkeys(("week", "weeks"), "w"),
    **dict.fromkeys(("day", "days"), "d"),
    **dict.fromkeys(("hour", "hours"), "h"),
    **dict.fromkeys(("minute", "minutes"), "min"),
    **dict.fromkeys(("second", "seconds"), "s"),
}

_PLAIN_PART: Final = re.compile(r"([0-9]+) ?([A-Za-z]+) *")
_PLAIN: Final = re.compile(r"(?:[0-9]+ ?[A-Za-z]+ *)+")
_TIME: Final = (
    r"(?:(?P<h>[0-9]+)H(?:(?P<hm>[0-9]+)M(?:(?P<hms>[0-9]+)S)?)?|(?P<m>[0-9]+)M(?:(?P<ms>[0-9]+)S)?|(?P<s>[0-9]+)S)"
)
_ISO: Final = re.compile(rf"P(?:(?P<w>[0-9]+)W|(?=[0-9T])(?:(?P<d>[0-9]+)D)?(?:T{_TIME})?)")
_ISO_SECONDS: Final[Mapping[str, int]] = {
    "w": 604_800, "d": 86_400, "h": 3_600, "hm": 60, "m": 60, "hms": 1, "ms": 1, "s": 1,
}  # fmt: skip

_DURATION_MEND: Final = "write e.g. 90min, 26h, 3d, 2w, 1d 12h or PT26H"
_SIZE_MEND: Final = "write e.g. 500 MB, 1.5 TB or 2 GiB"

_SAID: Final = (
    (730 * 86_400, (365 * 86_400, "years"), (86_400, "days")),
    (48 * 3_600, (86_400, "days"), (3_600, "h")),
    (3_600, (3_600, "h"), (60, "min")),
    (60, (60, "min"), (1, "s")),
)

_PREFIXES: Final = "kMGTPE"
_BYTES: Final[Mapping[str, int]] = {
    "B": 1,
    **{f"{prefix}B": 1000**power for power, prefix in enumerate(_PREFIXES, 1)},
    **{f"{prefix.upper()}iB": 1024**power for power, prefix in enumerate(_PREFIXES, 1)},
}
_BITS: Final[Mapping[str, int]] = {"": 1, **{prefix: 1000**power for power, prefix in enumerate(_PREFIXES[:4], 1)}}
_BIT_RATE: Final = re.compile(r"([0-9]{1,15}(?:\.[0-9]{1,15})?) ?([kMGT]?)bit/s")
_SIZE: Final = re.compile(r"([0-9]{1,30})(?:\.([0-9]{1,30}))? ?([A-Za-z]+)")


def parse_duration(text: str) -> timedelta:
    """Read a duration in either spelling; zero is one.

    Raises ValueError with a message for the owner: no unit, an ambiguous or a calendar unit, fractions, units
    out of order, more than `LONGEST`.
    """
    if len(text) > 60:
        raise ValueError(f"{text[:40]!r}… is no duration ({_DURATION_MEND})")
    seconds = _iso_seconds(text) if text.startswith("P") else _plain_seconds(text)
    if seconds > LONGEST.total_seconds():
        raise ValueError(f"{text!r} is longer than a hundred years (write a shorter duration)")
    return timedelta(seconds=seconds)


def _iso_seconds(text: str) -> int:
    found = _ISO.fullmatch(text)
    if found is None:
        if re.search(r"[0-9]Y|^P[^T]*[0-9]M", text):
            raise ValueError(
                f"{text!r} counts in months or years, which have no fixed length (write days: P30D or 30d)"
            )
        raise ValueError(f"{text!r} is no duration that ISO 8601 and RFC 3339 both know ({_DURATION_MEND})")
    parts = [int(number) * _ISO_SECONDS[unit] for unit, number in found.groupdict().items() if number is not None]
    return sum(parts)


def _plain_seconds(text: str) -> int:
    if re.fullmatch(r"[0-9]+", text):
        raise ValueError(f"{text!r} has no unit ({_DURATION_MEND})")
    if re.match(r"[0-9]+[.,][0-9]", text):
        raise ValueError(f"{text!r} is not a whole number of its unit (use a smaller unit: 90min for 1.5h)")
    if not _PLAIN.fullmatch(text) or text.endswith(" "):
        raise ValueError(f"{text!r} is no duration ({_DURATION_MEND})")
    total, last = 0, float("inf")
    for number, word in _PLAIN_PART.findall(text):
        unit = _seconds_of(word, text)
        if unit >= last:
            raise ValueError(f"{text!r} has its units out of order (the largest first, each once: 1d 12h)")
        total, last = total + int(number) * unit, unit
    return total


def _seconds_of(word: str, text: str) -> int:
    unit = _SPELLINGS.get(word)
    if unit is not None:
        return _SECONDS[unit]
    if word in {"m", "M", "mo", "month", "months", "y", "Y", "year", "years"}:
        raise ValueError(f"{text!r} is ambiguous: '{word}' has no fixed length (min for minutes, or days: 30d, 365d)")
    raise ValueError(f"{text!r} has the unknown unit '{word}' ({_DURATION_MEND})")


def format_duration(duration: timedelta) -> str:
    """Say a duration to people: its two largest units, cut and not rounded (`26 h`, `11 days`, `2 days 7 h`).

    Hours run to 48 and days to 730; a year is 365 days here. What is under a second says so.
    """
    if duration < timedelta(0):
        return f"-{format_duration(-duration)}"
    seconds = duration // timedelta(seconds=1)
    if seconds == 0:
        return "under 1 s" if duration else "0 s"
    for from_here, large, small in _SAID:
        if seconds >= from_here:
            return _two_units(seconds, large, small)
    return f"{seconds} s"


def format_about(duration: timedelta) -> str:
    """Say a duration that is an estimate (`about 26 h`, `under 1 s`)."""
    return f"about {format_duration(duration)}" if duration >= timedelta(seconds=1) else "under 1 s"


def format_least(duration: timedelta) -> str:
    """Say a duration that is a bound below (`at least 26 h`, `under 1 s at best`)."""
    return f"at least {format_duration(duration)}" if duration >= timedelta(seconds=1) else "under 1 s at best"


def _two_units(seconds: int, large: tuple[int, str], small: tuple[int, str]) -> str:
    first, rest = divmod(seconds, large[0])
    second = rest // small[0]
    if not second:
        return f"{first} {large[1]}"
    word = "day" if second == 1 and small[1] == "days" else small[1]
    return f"{first} {large[1]} {second} {word}"


def parse_size(text: str) -> int:
    """Read a size as bytes; a decimal fraction is allowed where whole bytes come out.

    Raises ValueError with a message for the owner: no unit, an ambiguous one, part of a byte, more than `LARGEST`.
    """
    if len(text) > 60:
        raise ValueError(f"{text[:40]!r}… is no size ({_SIZE_MEND})")
    found = _SIZE.fullmatch(text)
    if found is None:
        if re.fullmatch(r"[0-9]+", text):
            raise ValueError(f"{text!r} has no unit ({_SIZE_MEND})")
        raise ValueError(f"{text!r} is no size ({_SIZE_MEND})")
    whole, part, unit = found.groups()
    if unit not in _BYTES:
        raise ValueError(f"{text!r} has the unit '{unit}', which is {_why_refused(unit)}")
    size = Fraction(f"{whole}.{part or 0}") * _BYTES[unit]
    if size.denominator != 1:
        raise ValueError(f"{text!r} is no whole number of bytes ({_SIZE_MEND})")
    if size > LARGEST:
        raise ValueError(f"{text!r} is larger than 9 EB (write a smaller size)")
    return size.numerator


def parse_byte_rate(text: str) -> int:
    """Read bytes a second: a size with `/s` behind it. Raises ValueError with a message for the owner."""
    if not text.endswith("/s"):
        raise ValueError(f"{text[:40]!r} is no rate in bytes a second (write e.g. 50 MB/s)")
    found = parse_size(text.removesuffix("/s"))
    if not found:
        raise ValueError(f"{text!r} is no rate at all (write more than zero)")
    return found


def parse_bit_rate(text: str) -> int:
    """Read bits a second, with a decimal prefix. Raises ValueError with a message for the owner.

    A rate in bytes is refused: a factor of eight is too easily lost.
    """
    found = _BIT_RATE.fullmatch(text)
    if found is None:
        raise ValueError(f"{text[:40]!r} is no rate in bits a second (write e.g. 100 Mbit/s or 2.5 Gbit/s)")
    rate = Fraction(found[1]) * _BITS[found[2]]
    if rate.denominator != 1 or not 0 < rate <= LARGEST:
        raise ValueError(f"{text!r} is no whole number of bits a second (write e.g. 2.5 Gbit/s)")
    return rate.numerator


def format_bit_rate(rate: int) -> str:
    """Say bits a second to people (`2.5 Gbit/s`)."""
    prefix, unit = max(((prefix, unit) for prefix, unit in _BITS.items() if unit <= rate), key=itemgetter(1))
    return f"{rate / unit:.4g} {prefix}bit/s"


def format_share(share: float | Fraction) -> str:
    """Say a share (0 to 1) as the owner writes it (`50%`)."""
    return f"{100 * float(share):g}%"


def _why_refused(unit: str) -> str:
    if re.fullmatch(r"[kKmMgGtTpPeE][iI]?[bB]?", unit):
        prefix = unit[0].upper()
        decimal = "k" if prefix == "K" else prefix
        return f"ambiguous ({decimal}B counts in thousands, {prefix}iB in 1024s)"
    return f"unknown ({_SIZE_MEND})"


def format_size(size: int) -> str:
    """Say a number of bytes to people, in decimal units (`999 B`, `1.2 GB`, `128 TB`), rounded half up."""
    if size < 0:
        return f"-{format_size(-size)}"
    if size < 1000:
        return f"{size} B"
    for power, prefix in enumerate(_PREFIXES, 1):
        unit = 1000**power
        tenths = (size * 20 + unit) // (unit * 2)  # the tenths of the unit, rounded half up
        if tenths < 1000:
            return f"{tenths // 10}.{tenths % 10} {prefix}B"
        whole = (size * 2 + unit) // (unit * 2)
        if whole < 1000 or prefix == _PREFIXES[-1]:
            return f"{whole} {prefix}B"
    raise AssertionError("the last prefix always returns")
