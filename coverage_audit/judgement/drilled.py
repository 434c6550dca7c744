"""What drills show of a copy: whether it was read back lately, what was found damaged, and the words for it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import Policy
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.drilling import Drill, DrillOutcome, DrillsOfCopy
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import age, files

USUAL: Final = timedelta(days=365)
"""How old a drill may be that `proof: restored` rests on, where the policy has no `drill`: longer than a year nobody
should trust one (common practice, no published source; CIS Controls v8 11.5 asks for one each quarter)."""


def every_of(policy: Policy) -> timedelta:
    """Return how old a drill may be."""
    return policy.drill or USUAL


def counting(drills: DrillsOfCopy | None, every: timedelta, now: datetime) -> Drill | None:
    """Return the drill that shows that a copy can be read back (None: none does).

    What was found damaged since, or could not be read back since, is no such copy; nor is a drill of the future.
    """
    if drills is None or drills.restored is None or why_not(drills, every, now):
        return None
    return drills.restored


def why_not(drills: DrillsOfCopy, every: timedelta, now: datetime) -> str | None:
    """Say why a copy is not shown to be readable (None: it is)."""
    good, newest = drills.restored, drills.newest
    if drills.standing_damage is not None:
        return f"the drill {_ago(drills.standing_damage, now)} found {damage(drills.standing_damage)}"
    if good is None:
        return "no drill has read it back" if newest is None else f"the drill {_ago(newest, now)} {_short(newest)}"
    if good.at > now:
        return "its drill bears a time after this audit"
    if newest is not None and newest.at > good.at and newest.unread:
        return f"of the drill {_ago(newest, now)}, {files(newest.unread)} could not be read back"
    if now - good.at > every:
        return f"it was last read back {_ago(good, now)}"
    return None


def in_words(drills: DrillsOfCopy | None, zone: ZoneInfo) -> str:
    """Say a copy's last drill in one short line; empty: there was none."""
    if drills is None:
        return ""
    newest, said = drills.newest, drills.by_hand
    if newest is None or (said is not None and said.at > newest.at):
        return "" if said is None else by_hand(said, zone)
    rate = f", {speed(newest)}" if newest.rate is not None else ""
    return f"{newest.at.astimezone(zone):%Y-%m-%d}, {_short(newest)}{rate}"


def by_hand(drill: Drill, zone: ZoneInfo) -> str:
    """Say a drill by hand: declared, by whose word."""
    day = f"{drill.at.astimezone(zone):%Y-%m-%d}"
    return f"by hand on {day}, by word of {visible(drill.who or '')} (declared, not measured)"


def speed(drill: Drill) -> str:
    """Say at what rate a drill read."""
    return f"{format_size(round(drill.rate or 0))} a second"


def _short(drill: Drill) -> str:
    if drill.outcome is DrillOutcome.DAMAGED:
        return f"found {damage(drill)}"
    back = f"{drill.restored.files} of {files(drill.chosen)} restored"
    return back if drill.outcome is DrillOutcome.RESTORED else f"showed too little ({back})"


def damage(drill: Drill) -> str:
    """Say how much a drill found damaged."""
    return f"{drill.damaged.files} of {files(drill.chosen)} damaged"


def _ago(drill: Drill, now: datetime) -> str:
    return age(drill.at, now)
