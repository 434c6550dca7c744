"""How a volume stands against the headroom that is asked of it, by all that was seen of its room."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import VolumeKey
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.forecast_words import dates, known, pace, room, soonest
from coverage_audit.judgement.room_now import Outlook, not_known, trouble_now
from coverage_audit.judgement.verdict import Answer, JudgedCopy
from coverage_audit.judgement.wording import age, duration, joined
from coverage_audit.reckoning.filling import Filling
from coverage_audit.reckoning.trend import LEAST

_GRACE: Final = timedelta(days=2)
"""How much later than it could be the history may be long enough: two nights that failed."""

_LATER, _MAYBE, _BEFORE = range(3)


def outlook(context: DatasetContext, volume: VolumeKey, asked: timedelta) -> Outlook:
    """Hold a volume's room against the headroom asked; the worst that is shown comes first, then what is unknown."""
    forecast = context.rooms.get(volume)
    lacking = _not_seen(context, tuple(_places(context, volume)), forecast)
    if forecast is None or lacking:
        return not_known("not seen", f"its room was not seen{lacking}")
    now = trouble_now(forecast, _copies(context, volume))
    if now is not None:
        return now
    ahead = _ahead(context, forecast, asked)
    if ahead.answer is Answer.NONCONFORMITY:
        return ahead
    unseen = [str(copy.address) for copy in _copies(context, volume) if _fit_is_unknown(copy)]
    if unseen:
        said = f"whether what {joined(unseen)} lacks fits is not known: it was not compared"
        return not_known(room(forecast), f"{said} ({ahead.said})")
    return ahead


def _ahead(context: DatasetContext, forecast: RoomForecast, asked: timedelta) -> Outlook:
    """Say where the pace leads, by what stands worst: bytes or inodes, and of two alike what is used up first."""
    by = context.finished + asked
    told = known(forecast)
    worst = max((_held(found, by) for _, found in told), default=_LATER)
    first = soonest([each for each in told if _held(each[1], by) == worst])
    if forecast.bytes is None or first is None:
        return _too_short(context, forecast)
    what, found = first
    when, grows = dates(found, context.zone), pace(what, found)
    measured = f"full {when}; {room(forecast)}, {grows}"
    said = f"at the present pace ({grows}) {'its inodes are used up' if what == 'inodes' else 'it is full'}: {when}"
    said += _crossing(context, found, asked)
    if worst == _BEFORE:
        return Outlook(answer=Answer.NONCONFORMITY, measured=measured, said=said, kind="filling")
    if worst == _MAYBE:
        said += f"; that it is within {duration(asked)} cannot be ruled out"
        return Outlook(answer=Answer.OBSERVATION, measured=measured, said=said)
    return Outlook(answer=Answer.CONFORMITY, measured=measured, said=said)


def _crossing(context: DatasetContext, found: Filling, asked: timedelta) -> str:
    """Say when less than the headroom asked for is left (empty: no date is foreseen)."""
    if found.reached is None:
        return ""
    crossed = found.reached - asked
    day = crossed.astimezone(context.zone).date()
    if crossed > context.finished:
        return f"; less than the {duration(asked)} asked for are left from about {day} on"
    return f"; less than the {duration(asked)} asked for have been left since about {day}"


def _held(found: Filling, by: datetime) -> int:
    """Say whether it is full before an instant: likely, and growth is shown at all; not ruled out; or not."""
    if found.reached is not None and found.reached < by and found.pace_low > 0:
        return _BEFORE
    return _MAYBE if found.earliest is not None and found.earliest < by else _LATER


def _too_short(context: DatasetContext, forecast: RoomForecast) -> Outlook:
    """Say what the history lacks: for as long as it could not be longer, that is observed and no more."""
    more = LEAST - forecast.days
    need = f"{more} more day{'s' if more != 1 else ''} of history {'are' if more != 1 else 'is'} needed"
    measured, since = f"{forecast.days} of {LEAST} days", forecast.known_since
    step = max(timedelta(days=1), *(_may_be_away(context, place) for place in _places(context, forecast.volume)))
    if since is not None and context.finished - since <= LEAST * step + _GRACE:
        said = f"when it is full is not known yet: {need} ({room(forecast)})"
        return Outlook(answer=Answer.OBSERVATION, measured=measured, said=said)
    why = "its history is not known" if since is None else f"it was seen first {age(since, context.finished)}"
    return not_known(measured, f"when it is full cannot be told: {need}, and {why}")


def _not_seen(context: DatasetContext, places: Iterable[PlaceEvidence], forecast: RoomForecast | None) -> str:
    """Say why what is known of a volume's room does not count any more (empty: it does)."""
    seen = forecast.last.at if forecast else None
    for place in places:
        check, facts = place.identity, place.volume_facts
        if not isinstance(check, Gap) and not check.trusted:
            return f": {check.state}"
        gap = next((each for each in (facts, check) if isinstance(each, Gap)), None)
        if gap is not None and gap.kind not in {GapKind.UNREACHABLE, GapKind.SHELF}:
            return f": {gap.kind}"
        if seen is None or (seen < context.started and context.finished - seen > _may_be_away(context, place)):
            return f" in this audit (last {age(seen, context.finished)})" if seen else " in this audit"
    return ""


def _may_be_away(context: DatasetContext, place: PlaceEvidence) -> timedelta:
    """Return for how long a volume's room may not have been seen."""
    if isinstance(place.device.access, ShelfAccess):
        ages = [copy.evidence.copy.max_age or context.policy.max_age for copy in _copies(context, place.volume.key)]
        return max(ages, default=context.policy.max_age)
    return place.device.may_be_off or timedelta(0)


def _places(context: DatasetContext, volume: VolumeKey) -> Iterable[PlaceEvidence]:
    if context.dataset.original.volume == volume:
        yield context.case.original.place
    for copy in _copies(context, volume):
        yield copy.evidence.place


def _copies(context: DatasetContext, volume: VolumeKey) -> Iterable[JudgedCopy]:
    return (copy for copy in context.copies if copy.address.volume == volume)


def _fit_is_unknown(copy: JudgedCopy) -> bool:
    return copy.comparison is None and not copy.evidence.copy.is_opaque
