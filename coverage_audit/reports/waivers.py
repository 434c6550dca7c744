"""Waivers in words: who accepted what, why, and until when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.waiving import Waiver
from coverage_audit.judgement.wording import last_day, when
from coverage_audit.ledger.record import EndedWaiver


def waiver_text(waiver: Waiver, zone: ZoneInfo) -> str:
    """Say one waiver in a sentence."""
    return f"Waived by {visible(waiver.who)} until {last_day(waiver.until, zone)}: “{visible(waiver.why)}”."


def waivers_text(standing: Iterable[Waiver], ended: Iterable[EndedWaiver], now: datetime, zone: ZoneInfo) -> str:
    """List the waivers that stand, then those that ended lately; ends with a newline."""
    lines = [line for waiver in standing for line in _standing(waiver, now, zone)] or ["No finding is waived."]
    gone = [line for one in ended for line in _ended(one, zone)]
    return "\n".join([*lines, *(["", "Ended lately:", *gone] if gone else [])]) + "\n"


def _standing(waiver: Waiver, now: datetime, zone: ZoneInfo) -> Iterator[str]:
    over = " Its time is over: the next audit ends it." if now >= waiver.until else ""
    yield waiver.name
    yield f"  {waiver_text(waiver, zone)}{over}"
    then = waiver.finding
    yield f"  Given {when(waiver.given, zone)}, when it was: {then.answer}, {visible(then.measured)}."


def _ended(one: EndedWaiver, zone: ZoneInfo) -> Iterator[str]:
    yield one.waiver.name
    yield f"  {waiver_text(one.waiver, zone)} It ended {when(one.ended, zone)}: {visible(one.why)}."
