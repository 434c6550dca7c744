"""The undertaking of looking back: what the ledger kept since a date, and the estate then beside the estate now."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.errors import EstateError, UsageError
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import estate_of
from coverage_audit.estate.units import parse_duration
from coverage_audit.ledger.estates_kept import VolumeShown
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import LookBack

_LEAST: Final = timedelta(microseconds=1)
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True, kw_only=True)
class LookedBack:
    """The past since `asked`: all of it is after `back.since`.

    `first_audit` is set where the ledger began only on a day after `asked`. `then` is the estate in force at the begin,
    judged by the audit of `then_at`; None where its text was written for another version of this program.
    """

    asked: datetime
    first_audit: datetime | None
    then: Estate | None
    then_at: datetime
    now: Estate
    back: LookBack
    shown: tuple[VolumeShown, ...]


def begin_of(text: str, now: datetime, zone: ZoneInfo) -> datetime:
    """Read what `--since` says: a date, which begins at its midnight in the zone, or a duration before `now`.

    Raises UsageError for what is neither, and for what is to come.
    """
    try:
        begin = _midnight(date.fromisoformat(text), zone) if _DATE.fullmatch(text) else now - parse_duration(text)
    except (ValueError, OverflowError) as error:
        raise UsageError(f"--since takes a date (2025-11-27) or a duration (90d, 52w): {error}") from error
    if begin >= now:
        raise UsageError(f"--since {text} is not past yet")
    return begin


def look_back(estate: Estate, asked: datetime, ledger: Ledger, now: datetime) -> LookedBack | None:
    """Gather the past since `asked` until `now` (None: no audit is recorded). Raises LedgerError."""
    first = ledger.estates.first_audit()
    kept = ledger.estates.estate_at(asked)
    if first is None or kept is None or first > now:
        return None
    zone = estate.time_zone
    late = first.astimezone(zone).date() > asked.astimezone(zone).date()
    since = (_midnight(first.astimezone(zone).date(), zone) if late else asked) - _LEAST
    lineage = lineage_of(estate)
    return LookedBack(
        asked=asked,
        first_audit=first if late else None,
        then=_read(kept.text),
        then_at=kept.at,
        now=estate,
        back=ledger.past.look_back(since, now, lineage, daily=zone),
        shown=ledger.estates.shown(since, now, lineage),
    )


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    """Return the instant (UTC) at which a local date begins."""
    return datetime.combine(day, time.min, zone).astimezone(UTC)


def _read(text: str) -> Estate | None:
    try:
        return estate_of(text, Path("estate.yaml"))
    except EstateError:
        return None
