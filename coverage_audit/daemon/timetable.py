"""What the declared schedule says at a moment: what was expected, and what comes next."""

from __future__ import annotations

from datetime import datetime, timedelta

from coverage_audit.audits.status import GRACE, Timetable
from coverage_audit.daemon.due import audit_due, instant_of, next_audit, next_summary
from coverage_audit.estate.model import Estate

_A_DAY = timedelta(days=1)
"""Where no time is declared an audit is expected each day all the same: whoever runs it."""


def timetable(estate: Estate, now: datetime) -> Timetable:
    """Return what the schedule says at `now`."""
    at, summary, zone = estate.schedule.audit, estate.schedule.summary, estate.time_zone
    following = None if summary is None else next_summary(now, summary, zone)
    if at is None:
        return Timetable(expected=now - GRACE - _A_DAY, audit=None, summary=following)
    expected = audit_due(now - GRACE, frozenset(), at, zone)
    begun = now - GRACE - _A_DAY if expected is None else instant_of(expected.of, at, zone)
    return Timetable(expected=begun, audit=next_audit(now, at, zone), summary=following)
