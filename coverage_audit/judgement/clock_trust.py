"""Whether the clocks by which a copy's age is measured can be trusted."""

from __future__ import annotations

from datetime import timedelta

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.evidence.facts import DeviceFacts, Gap, RecoveryPoint
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.copy_view import CopyView
from coverage_audit.judgement.wording import age, duration, when


def clock_trouble(view: CopyView) -> str | None:
    """Say why an age of this copy is not proven: a clock of either side disagrees, was not shown, or shows a future.

    The original's clock dates what the copy lacks; the copy's dates its recovery points and its work. A box that offers
    its files over SFTP alone shows neither clock nor ctimes: on a copy there without points nothing is dated by it.
    """
    sides = [] if _dates_nothing(view) else [view.evidence.place]
    if not isinstance(view.original.tree, Gap):
        sides.insert(0, view.original.place)
    troubles = [trouble for place in sides if (trouble := clock_doubt(place, view.tolerance))]
    return next(iter(troubles), None) or _future(view)


def _dates_nothing(view: CopyView) -> bool:
    facts = view.evidence.place.device_facts
    return isinstance(facts, DeviceFacts) and facts.over == "sftp" and view.evidence.copy.points is None


def clock_doubt(place: PlaceEvidence, tolerance: timedelta) -> str | None:
    """Say why the clock of a place is not to be trusted (None: it is)."""
    facts = place.device_facts
    if isinstance(place.device.access, ShelfAccess):
        return None  # a drive has no clock; the machine that it was plugged into stamped its manifest
    if isinstance(facts, Gap):
        return f"the clock of {place.device.id} was not shown"
    if facts.clock_offset is None:
        return f"the clock of {place.device.id} was not shown"
    if abs(facts.clock_offset) + (facts.clock_uncertainty or timedelta(0)) > tolerance:
        return f"the clock of {place.device.id} is {offset_in_words(facts)}, more than {duration(tolerance)}"
    return None


def offset_in_words(facts: DeviceFacts) -> str:
    """Say how far a clock that was shown is off, and how exactly that is known."""
    offset, known = facts.clock_offset or timedelta(0), facts.clock_uncertainty or timedelta(0)
    exactness = f" (known to {duration(known)})" if known >= timedelta(seconds=1) else ""
    if abs(offset) < timedelta(seconds=1):
        return f"right to the second{exactness}"
    return f"{duration(abs(offset))} {'ahead of' if offset > timedelta(0) else 'behind'} the auditor's{exactness}"


def _future(view: CopyView) -> str | None:
    limit = view.now + view.tolerance
    point: RecoveryPoint | None = view.evidence.point or view.newest_point
    if point is not None and point.earliest > limit:
        return f"its recovery point “{visible(point.name)}” lies in the future ({age(point.earliest, view.now)})"
    work = view.comparison.last_work if view.comparison else None
    if work is not None and work > limit:
        return (
            f"something in it bears a time to come ({when(work, view.zone)}): its clock was wrong when it was written"
        )
    return None
