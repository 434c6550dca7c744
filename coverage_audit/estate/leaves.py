"""The single values of an estate file: each with its check and what an editor is told of it.

The readers raise ValueError with a message for the owner; the shapes (`shape.py`) put them together.
"""

from __future__ import annotations

import re
from datetime import date, time, timedelta
from fractions import Fraction
from functools import cache
from typing import Annotated, Final
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, WithJsonSchema

from coverage_audit.estate.addresses import (
    ID_PATTERN,
    SshTarget,
    check_id,
    parse_address,
    parse_own_path,
    parse_ssh_target,
    parse_volume_key,
    parse_volume_path,
)
from coverage_audit.estate.criteria import WEEKDAYS, Rhythm
from coverage_audit.estate.hardware import ParityKind
from coverage_audit.estate.leaf import from_text, named, text_schema, word
from coverage_audit.estate.mistakes import did_you_mean, shown
from coverage_audit.estate.model import Address, Medium, NoticeKind, Proof, VolumeKey
from coverage_audit.estate.units import parse_bit_rate, parse_byte_rate, parse_duration, parse_size

_CLOCK: Final = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_SHARE: Final = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,6})?) ?%")
_LONGEST_LINE: Final = 200

_OFTEN: Final = {
    "learned": Rhythm(),
    "daily": Rhythm(every=timedelta(days=1)),
    "weekly": Rhythm(every=timedelta(weeks=1)),
    "monthly": Rhythm(monthly=True),
}


def _line(text: str) -> str:
    if not text.strip() or not text.isprintable() or len(text) > _LONGEST_LINE:
        raise ValueError(f"{shown(text)} is no line of text (1 to {_LONGEST_LINE} printable characters)")
    return text


def _positive(text: str) -> timedelta:
    duration = parse_duration(text)
    if not duration:
        raise ValueError(f"{shown(text)} is no time at all (write more than zero)")
    return duration


def _tolerance(text: str) -> timedelta:
    duration = _positive(text)
    if duration > timedelta(hours=1):
        raise ValueError(f"{shown(text)} would let a clock in the wrong zone pass (write at most 1h)")
    return duration


def _often(text: str) -> Rhythm:
    if text in _OFTEN:
        return _OFTEN[text]
    every = _positive(text)
    if every < timedelta(minutes=1):
        raise ValueError(f"{shown(text)} is no rhythm of recovery points (write at least 1min)")
    return Rhythm(every=every)


def _share(text: str) -> Fraction:
    found = _SHARE.fullmatch(text)
    if found is None or not 0 < float(found[1]) < 100:
        raise ValueError(f'{shown(text)} is no share (write more than 0% and less than 100%: "50%")')
    return Fraction(found[1]) / 100


@cache
def _zones() -> frozenset[str]:
    # The first two are files of the machine, not names of the IANA database; the third names no place.
    return frozenset(available_timezones()) - {"localtime", "posixrules", "Factory"}


def _zone(text: str) -> ZoneInfo:
    if text not in _zones():
        raise ValueError(f"{shown(text)} is no IANA time zone ({did_you_mean(text, _zones())})")
    return ZoneInfo(text)


def _clock(text: str) -> time:
    found = _CLOCK.fullmatch(text)
    if found is None:
        raise ValueError(f'{shown(text)} is no time of day (write "HH:MM" from "00:00" to "23:59")')
    return time(int(found[1]), int(found[2]))


def _weekday_and_clock(text: str) -> tuple[str, time]:
    day, _, clock = text.partition(" ")
    if day not in WEEKDAYS:
        mend = 'write "Mon 07:00"' if not day.isalpha() else did_you_mean(day[:3].title(), WEEKDAYS)
        raise ValueError(f"{shown(text)} does not begin with a weekday ({mend})")
    return day, _clock(clock)


def _quiet(text: str) -> tuple[time, time]:
    begin, dash, end = text.partition("-")
    if not dash:
        raise ValueError(f'{shown(text)} is no span of hours (write "22:00-07:00")')
    hours = _clock(begin.strip()), _clock(end.strip())
    if hours[0] == hours[1]:
        raise ValueError(f'{shown(text)} would be quiet for ever (write "22:00-07:00")')
    return hours


def _date(text: str) -> date:
    try:
        day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None:
        raise ValueError(f"{shown(text)} is no date (write YYYY-MM-DD)")
    return day


def _secret_file(text: str) -> str:
    try:
        return parse_own_path(text)
    except ValueError:  # its message would show the text, which may be the address itself
        mend = "begin with '/' or '~/'; the address stands in that file, never here"
        raise ValueError(f"this is no path of a file ({mend})") from None


def _host_key(text: str) -> str:
    if not re.fullmatch(r"SHA256:[A-Za-z0-9+/]{43}=?", text):
        raise ValueError(f"{shown(text)} is no host key's fingerprint (write SHA256:..., as ssh-keygen -lf prints it)")
    return text.rstrip("=")


_MEDIA: Final = {medium.value: medium for medium in Medium}
_PROOFS: Final = {proof.word: proof for proof in Proof}
_PARITIES: Final = {kind.value: kind for kind in ParityKind}
_KINDS: Final = {kind.value: kind for kind in NoticeKind}

IdText = Annotated[str, AfterValidator(check_id), text_schema("An id", pattern=ID_PATTERN)]
Line = Annotated[str, from_text(_line, "text (put it in quotes)"), text_schema("A line of text", minLength=1)]
Reference = Annotated[str, from_text(str, "id (put it in quotes)"), text_schema("An id declared elsewhere")]
Duration = Annotated[
    timedelta,
    from_text(_positive, "duration (write a number with its unit: 26h, 3d, 2w or PT26H)"),
    text_schema("A duration", "90min", "26h", "3d", "2w", "1d 12h", "PT26H", pattern="^(?:P[0-9T]|[0-9]+ ?[a-z])"),
]
Tolerance = Annotated[
    timedelta,
    from_text(_tolerance, "duration (write a number with its unit: 2min)"),
    text_schema("A duration of at most an hour", "2min"),
]
Size = Annotated[
    int,
    from_text(parse_size, "size (write a number with its unit: 500 MB, 2 GiB)"),
    text_schema("A size", "500 MB", "1 GB", "2 GiB", pattern="^[0-9.]+ ?(?:B|[kMGTPE]B|[KMGTPE]iB)$"),
]
Zone = Annotated[ZoneInfo, from_text(_zone, "time zone (write e.g. Europe/Dublin)"), text_schema("An IANA time zone")]
Clock = Annotated[
    time,
    from_text(_clock, 'time of day (write it in quotes: "04:10")'),
    text_schema("A time of day", "04:10", pattern=f"^(?:{_CLOCK.pattern})$"),
]
WeekdayClock = Annotated[
    tuple[str, time],
    from_text(_weekday_and_clock, 'weekday and time (write e.g. "Mon 07:00")'),
    text_schema("A weekday and a time", "Mon 07:00", pattern=f"^(?:{'|'.join(WEEKDAYS)}) (?:{_CLOCK.pattern})$"),
]
QuietHours = Annotated[
    tuple[time, time],
    from_text(_quiet, 'span of hours (write "22:00-07:00")'),
    text_schema("Hours in which nothing is sent", "22:00-07:00"),
]
Often = Annotated[
    Rhythm,
    from_text(_often, "rhythm (write how often: 1d, 6h, daily, weekly, monthly, or learned)"),
    text_schema("How often a point comes", *_OFTEN, "6h", "1d"),
]
WeekdayWord = Annotated[
    int,
    word({name: number for number, name in enumerate(WEEKDAYS)}, "weekday"),
    WithJsonSchema({"enum": list(WEEKDAYS)}),
]
Share = Annotated[
    float,
    from_text(lambda text: float(_share(text)), 'share (write it with its sign: "50%")'),
    text_schema("A share", "50%", pattern="%$"),
]
ExactShare = Annotated[
    Fraction, from_text(_share, 'share (write it with its sign: "95%")'), text_schema("A share", "95%", pattern="%$")
]
BitRate = Annotated[
    int,
    from_text(parse_bit_rate, "rate (write bits a second: 2.5 Gbit/s)"),
    text_schema("Bits a second", "100 Mbit/s", "1 Gbit/s", "2.5 Gbit/s", pattern="bit/s$"),
]
ByteRate = Annotated[
    int,
    from_text(parse_byte_rate, "rate (write bytes a second: 50 MB/s)"),
    text_schema("Bytes a second", "50 MB/s", pattern="B/s$"),
]
Day = Annotated[date, from_text(_date, "date (write YYYY-MM-DD)"), text_schema("A date", format="date")]
MediumWord = Annotated[Medium, word(_MEDIA, "medium"), WithJsonSchema({"enum": list(_MEDIA)})]
ProofWord = Annotated[Proof, word(_PROOFS, "proof"), WithJsonSchema({"enum": list(_PROOFS)})]
KindWord = Annotated[NoticeKind, word(_KINDS, "kind of notice"), WithJsonSchema({"enum": list(_KINDS)})]
ParityWord = Annotated[ParityKind, word(_PARITIES, "kind of parity"), WithJsonSchema({"enum": list(_PARITIES)})]
AccessWord = Annotated[
    str,
    word({"local": "local", "shelf": "shelf"}, "access", "; or {ssh: user@host}"),
    WithJsonSchema({"enum": ["local", "shelf"]}),
]
AddressText = Annotated[
    Address, from_text(parse_address, "address (write device:volume/path)"), text_schema("device:volume/path")
]
VolumeText = Annotated[
    VolumeKey, from_text(parse_volume_key, "volume (write device:volume)"), text_schema("device:volume")
]
VolumePath = Annotated[
    str, from_text(parse_volume_path, "path"), text_schema("The absolute path on the device", pattern="^/")
]
OwnPath = Annotated[
    str, from_text(parse_own_path, "path"), text_schema("A file on the auditor's machine", pattern="^(?:/|~/)")
]
SecretFile = Annotated[
    str, from_text(_secret_file, "path"), text_schema("The file that holds the address", pattern="^(?:/|~/)")
]
SshText = Annotated[SshTarget, from_text(parse_ssh_target, "host (write user@host)"), text_schema("user@host:port")]
Pattern = Annotated[str, from_text(str, "pattern (put it in quotes)"), text_schema("A name to leave out", "*.tmp")]
EnvName = Annotated[
    str,
    named(r"[A-Za-z_][A-Za-z0-9_]{0,127}", "name of an environment variable"),
    text_schema("The environment variable that holds the address", pattern="^[A-Za-z_][A-Za-z0-9_]*$"),
]
CredentialName = Annotated[
    str,
    named(r"[A-Za-z0-9_][A-Za-z0-9_.-]{0,127}", "name of a credential"),
    text_schema("The service manager's credential that holds the address", pattern="^[A-Za-z0-9_][A-Za-z0-9_.-]*$"),
]
HostKey = Annotated[str, from_text(_host_key, "fingerprint"), text_schema("SHA256:...", pattern="^SHA256:")]
