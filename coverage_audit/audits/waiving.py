"""Waive a finding for a while, end that, and put the waivers that stand on what an audit judged."""

from __future__ import annotations

import calendar
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Final

from coverage_audit.errors import UsageError
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.accepting import Accepted, with_waivers
from coverage_audit.judgement.rules.catalogue import RULES
from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.judgement.waiving import ASKED, Waiver
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import StoredFinding
from coverage_audit.ledger.threads import former_ids
from coverage_audit.ledger.transitions import findings_of

_LONGEST: Final = 500
"""So many characters a reason may have, and a name: it stands in every page."""


def accepted(judged: JudgedEstate, waivers: Iterable[Waiver], lineage: Lineage) -> Accepted:
    """Judge under the waivers that stand; one whose finding's subject was renamed or moved goes along with it."""
    found = findings_of(judged)
    now = {old: name for name, each in found.items() for old in former_ids(each, lineage) if old not in found}
    return with_waivers(judged, [replace(waiver, name=now.get(waiver.name, waiver.name)) for waiver in waivers])


def give(  # noqa: PLR0913 - what a waiver says
    estate: Estate, ledger: Ledger, stored: StoredFinding, *, until: str, why: str, who: str, now: datetime
) -> datetime:
    """Waive a finding; return the instant before which that holds. Raises UsageError, saying what to do."""
    end = end_of(until, estate, now)
    words = {"--why": _words("--why", why), "--who": _words("--who", who)}
    refuse(stored)
    ledger.waivers.give(stored.finding.id, who=words["--who"], why=words["--why"], given=now, until=end)
    return end


def end_of(text: str, estate: Estate, now: datetime) -> datetime:
    """Return the end of a day to come, in the estate's zone. Raises UsageError for any other day."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--until: '{visible(text)}' is no date (write it as 2026-11-25)") from None
    today = now.astimezone(estate.time_zone).date()
    last = _a_year_after(today)
    if day <= today:
        raise UsageError(f"--until: {day} is not to come (today is {today} in {estate.time_zone.key})")
    if day > last:
        raise UsageError(f"--until: {day} is too far ahead: a waiver holds for a year at most, until {last}")
    return datetime.combine(day + timedelta(days=1), time(), estate.time_zone)


def refuse(stored: StoredFinding) -> None:
    """Raise UsageError where a finding cannot be waived, and say why."""
    finding = stored.finding
    if not stored.current:
        raise UsageError(f"{finding.id} is not asked for any more: there is nothing to waive")
    if finding.answer not in ASKED | {Answer.WAIVED}:
        raise UsageError(f"{finding.id} is no failing (it was last answered: {finding.answer}): nothing to waive")
    if any(rule.id == finding.rule and not rule.waivable for rule in RULES):
        raise UsageError(f"{finding.id} cannot be waived: what it asks is what everything else rests on")
    if not finding.waivable:
        raise UsageError(
            f"{finding.id} cannot be waived: damaged content, and another volume than the one pinned, are never "
            f"accepted for a while. To mend it: {finding.mend}"
        )


def _a_year_after(day: date) -> date:
    """Return the same day of the next year (of 29 February: the 28th)."""
    last = calendar.monthrange(day.year + 1, day.month)[1]
    return day.replace(year=day.year + 1, day=min(day.day, last))


def _words(option: str, text: str) -> str:
    said = " ".join(text.split())
    if not said:
        raise UsageError(f"{option}: say it in words; it is shown wherever the finding is")
    if len(said) > _LONGEST:
        raise UsageError(f"{option}: at most {_LONGEST} characters")
    return said
