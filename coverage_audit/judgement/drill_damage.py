"""What a drill found damaged counts against its copy, whatever the policy asks, until one restores it."""

from __future__ import annotations

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.copy_view import CopyView, Reasoned
from coverage_audit.judgement.drilled import damage as damage_in_words
from coverage_audit.judgement.verdict import Ground, Standing
from coverage_audit.judgement.wording import NAMES_SHOWN, when


def found_damaged(view: CopyView) -> Reasoned | None:
    """Find a copy of which a drill read back something that it should not be, until one restores it."""
    drills = view.evidence.drills
    damage = drills.standing_damage if drills is not None else None
    if damage is None:
        return None
    names = ", ".join(f"“{visible(one.path)}”" for one in damage.damaged_files[:NAMES_SHOWN])
    reason = f"the drill of {when(damage.at, view.zone)} found {damage_in_words(damage)}: {names}"
    return Reasoned(standing=Standing.DAMAGED, ground=Ground.CONTENT, reason=reason)
