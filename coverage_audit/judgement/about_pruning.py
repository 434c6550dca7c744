"""What the present pruning of a dated copy will delete next, in words: learned from what left in earlier audits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from coverage_audit.estate.criteria import Keep
from coverage_audit.evidence.facts import RecoveryPoint
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.dated import Dated, dated_copies
from coverage_audit.judgement.kept_slots import slots_asked
from coverage_audit.judgement.wording import duration, joined, when
from coverage_audit.reckoning.leaving import Going, pruning
from coverage_audit.reckoning.slots import Slot, empty_slots, last_whole


def going_next(context: DatasetContext) -> tuple[Going, ...]:
    """Return the point that goes next of each dated copy whose pruning is known, where the policy says what is kept."""
    keep = context.policy.keep
    if keep is None:
        return ()
    copies = [one for one in dated_copies(context) if not one.unknown and one.points]
    found = (_going(keep, one, copies, context.zone) for one in copies)
    return tuple(going for going in found if going is not None)


def what_goes_next(keep: Keep, copies: Sequence[Dated], zone: ZoneInfo) -> Iterator[str]:
    """Say of each copy that was seen what its pruning deletes next, or that this is not known."""
    for one in copies:
        if not one.unknown and one.points:
            yield f"{one.copy.address}: {_of_copy(keep, one, copies, zone)}"


def deleted_before(complete: date, copies: Sequence[Dated], zone: ZoneInfo) -> str:
    """Say that slots will never all be there, as each copy deletes its oldest point too early (empty: not known)."""
    ages = [pruning(one.left).oldest_at for one in copies]
    known = [age for age in ages if age is not None]
    oldest = min((point.earliest for one in copies for point in one.points), default=None)
    if len(known) < len(ages) or oldest is None or complete <= (oldest + max(known)).astimezone(zone).date():
        return ""
    return f", which the present pruning does not let happen: it deletes at the age of {duration(max(known))}"


def _of_copy(keep: Keep, one: Dated, copies: Sequence[Dated], zone: ZoneInfo) -> str:
    learned = pruning(one.left)
    if learned.oldest_at is None and learned.thinned_from is None:
        since = f" since {when(one.past.since, zone)}" if one.past is not None else ""
        return f"no point left{since}, so what is deleted next is not known"
    going = _going(keep, one, copies, zone)
    if going is None:
        thinned = duration(learned.thinned_from) if learned.thinned_from is not None else ""
        return f"points are thinned out from an age of {thinned} on, the oldest stays"
    lost = f", and with it all that is held of {joined(map(str, going.lost))}" if going.lost else ""
    next_one = f"“{visible(going.name)}” goes next, about {going.at.astimezone(zone).date()}"
    return f"the oldest is deleted at the age of {duration(going.deleted_at)}: {next_one}{lost}"


def _going(keep: Keep, one: Dated, copies: Sequence[Dated], zone: ZoneInfo) -> Going | None:
    age, oldest = pruning(one.left).oldest_at, one.points[0]
    if age is None:
        return None
    at = oldest.earliest + age
    lost = _only_in(keep, oldest, at, copies, zone)
    return Going(address=one.copy.address, name=oldest.name, at=at, deleted_at=age, lost=lost)


def _only_in(
    keep: Keep, point: RecoveryPoint, goes: datetime, copies: Sequence[Dated], zone: ZoneInfo
) -> tuple[Slot, ...]:
    """Return the slots asked for when a point goes (that day having its own point) in which no other point lies."""
    others = [other.earliest for one in copies for other in one.points if other is not point]
    day = goes.astimezone(zone).date()
    asked = (slot for span, count in slots_asked(keep) for slot in last_whole(span, count - 1, day))
    mine = [slot for slot in asked if not empty_slots([slot], [point.earliest], zone)]
    return empty_slots(mine, others, zone)
