"""What a drill found damaged counts against its copy, whatever the policy asks, until one restores it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from coverage_audit.evidence.drilling import DrillsOfCopy
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.copy_view import CopyView, Reasoned
from coverage_audit.judgement.drilled import outstanding
from coverage_audit.judgement.verdict import Ground, Standing
from coverage_audit.judgement.wording import NAMES_SHOWN, when


def found_damaged(view: CopyView) -> Reasoned | None:
    """Find a copy of which a drill read back something that it should not be, until one restores it."""
    drills = view.evidence.drills
    reason = damage_in_words(drills, view.zone) if drills is not None else None
    return Reasoned(standing=Standing.DAMAGED, ground=Ground.CONTENT, reason=reason) if reason else None


def damage_in_words(drills: DrillsOfCopy, zone: ZoneInfo) -> str | None:
    """Say what damage of a copy is outstanding, with the first names (None: none is)."""
    damage = drills.standing_damage
    if damage is None:
        return None
    return f"the drill of {when(damage.at, zone)} found {outstanding(drills)}: {damaged_names(drills)}"


def damaged_names(drills: DrillsOfCopy) -> str:
    """Name the first files whose damage is outstanding."""
    return ", ".join(f"“{visible(one.path)}”" for one in drills.outstanding[:NAMES_SHOWN])
