"""What drills show of a copy: whether it was read back lately, what was found damaged, and the words for it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import Policy
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.drilling import Drill, DrillOutcome, DrillsOfCopy
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import age, day, files

USUAL: Final = timedelta(days=365)
"""How old a drill may be that `proof: restored` rests on, where the policy has no `drill`: longer than a year nobody
should trust one (common practice, no published source; CIS Controls v8 11.5 asks for one each quarter)."""


def every_of(policy: Policy) -> timedelta:
    """Return how old a drill may be."""
    return policy.drill or USUAL


def counting(drills: DrillsOfCopy | None, every: timedelta, now: datetime) -> Drill | None:
    """Return the drill that shows that a copy can be read back (None: none does).

    What was found damaged and is outstanding, or could not be read back since, is no such copy; nor is a drill of the
    future, nor one of named files alone or of too few.
    """
    if drills is None or drills.restored is None or why_not(drills, every, now):
        return None
    return drills.restored


def why_not(drills: DrillsOfCopy, every: timedelta, now: datetime) -> str | None:
    """Say why a copy is not shown to be readable (None: it is)."""
    good, newest, unread = drills.restored, drills.newest, drills.unread
    if drills.standing_damage is not None:
        return f"the drill {_ago(drills.standing_damage, now)} found {outstanding(drills)}"
    if good is None:
        return "no drill has read it back" if newest is None else f"the drill {_ago(newest, now)} {_too_little(newest)}"
    if good.at > now:
        return "its drill bears a time after this audit"
    if unread is not None and unread.at > good.at:
        return f"of the drill {_ago(unread, now)}, {files(unread.unread)} could not be read back"
    if now - good.at > every:
        return f"it was last read back {_ago(good, now)}"
    return None


def rewritten(drills: DrillsOfCopy) -> str | None:
    """Say why a drill does not speak any more for what lies in the copy now (None: it does)."""
    still = drills.still
    if still is None:
        return "whether what was read back then lies there still was not seen"
    if still.most:
        return None
    return f"of {files(still.of)} that were read back then, {still.files} lie there as they did: it was rewritten since"


def in_words(drills: DrillsOfCopy | None, zone: ZoneInfo) -> str:
    """Say a copy's last drill in one short line; empty: there was none."""
    if drills is None:
        return ""
    newest, said = drills.newest, drills.by_hand
    if newest is None or (said is not None and said.at > newest.at):
        return "" if said is None else by_hand(said, zone)
    rate = f", {speed(newest)}" if newest.rate is not None else ""
    return f"{day(newest.at, zone)}, {_short(newest)}{rate}"


def by_hand(drill: Drill, zone: ZoneInfo) -> str:
    """Say a drill by hand: declared, by whose word."""
    return f"by hand on {day(drill.at, zone)}, by word of {visible(drill.who or '')} (declared, not measured)"


def speed(drill: Drill) -> str:
    """Say at what rate a drill read."""
    return f"{format_size(round(drill.rate or 0))} a second"


def _short(drill: Drill) -> str:
    if drill.outcome is DrillOutcome.DAMAGED:
        return f"found {damage(drill)}"
    back = f"{drill.restored.files} of {files(drill.chosen)} restored"
    return back if drill.outcome is DrillOutcome.RESTORED else f"showed too little ({back})"


def _too_little(drill: Drill) -> str:
    if drill.outcome is not DrillOutcome.RESTORED or drill.is_random:
        return _short(drill)
    held = f" of {drill.held}" if drill.held else ""
    drawn = f"{files(drill.drawn)}{held} at random, {drill.drawn_back} of them restored"
    return f"drew {drawn}: at least {drill.least} are asked"


def outstanding(drills: DrillsOfCopy) -> str:
    """Say what drills found damaged and none has read back right since."""
    newest, left = drills.damaged, drills.outstanding_files
    if newest is None:
        return f"{files(left)} damaged"
    if left == newest.damaged.files:
        return damage(newest)
    return f"{damage(newest)}; of what drills found damaged, {files(left)} came back right in none since"


def damage(drill: Drill) -> str:
    """Say how much a drill found damaged."""
    return f"{drill.damaged.files} of {files(drill.chosen)} damaged"


def _ago(drill: Drill, now: datetime) -> str:
    return age(drill.at, now)
