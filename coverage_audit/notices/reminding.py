"""When a finding that lasts is told again: after 1, 3, 7, 14 and 30 days, then every 30; rarer and rarer."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta
from itertools import takewhile
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.ledger.outgoing import Lasting

AFTER_DAYS: Final = (1, 3, 7, 14, 30)
THEN_EVERY_DAYS: Final = 30
_A_DAY: Final = timedelta(days=1)


def steps(days: int) -> int:
    """Return how many times a finding that has been open for so many days should have been told again."""
    first = sum(1 for _ in takewhile(lambda after: after <= days, AFTER_DAYS))
    return first + max(0, days - AFTER_DAYS[-1]) // THEN_EVERY_DAYS


def is_due(begun: date, told: date, today: date) -> bool:
    """Whether it is to be told again today: a step has come since it was told last.

    By local dates: a night's audit begins a little sooner or later than that of the night before. Steps that were
    missed (nothing ran) are made up for by one reminder; a clock that went back brings none. But one that was days
    ahead when it was told must not silence it until then.
    """
    if told > today + _A_DAY:
        return True
    return steps((today - begun).days) > steps((told - begun).days)


def reminders(
    lasting: Iterable[Lasting], now: datetime, zone: ZoneInfo, *, told_now: Collection[str]
) -> tuple[Lasting, ...]:
    """Return those of the lasting findings that are to be told again, but for the ids that are news now anyway."""

    def day(instant: datetime) -> date:
        return instant.astimezone(zone).date()

    return tuple(
        one for one in lasting if one.finding.id not in told_now and is_due(day(one.since), day(one.told), day(now))
    )
