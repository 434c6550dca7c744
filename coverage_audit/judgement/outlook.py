"""How a volume stands against the headroom that is asked of it, by all that was seen of its room."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.model import ShelfAccess, VolumeKey
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.forecast_words import dates, pace, room, sooner
from coverage_audit.judgement.verdict import Answer, JudgedCopy
from coverage_audit.judgement.wording import age, duration
from coverage_audit.reckoning.filling import Filling
from coverage_audit.reckoning.trend import LEAST

_GRACE: Final = timedelta(days=2)
"""How much later than it could be the history may be long enough: two nights that failed."""

_MAKE_ROOM: Final = "Make room on it, give it more, or keep fewer recovery points there."
_SEE: Final = "Mend what stood in the way of seeing the volume, then audit again."


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """An answer with what was measured, in words. `kind` is one word for what sort of trouble it is."""

    answer: Answer
    measured: str
    said: str
    mend: str = _MAKE_ROOM
    kind: str = ""


def outlook(context: DatasetContext, volume: VolumeKey, asked: timedelta) -> Outlook:
    """Hold a volume's room against the headroom asked; the worst that is shown comes first, then what is unknown."""
    forecast = context.rooms.get(volume)
    places = tuple(_places(context, volume))
    lacking = _not_seen(context, places, forecast)
    if forecast is None or lacking:
        return _unverified("not seen", f"its room was not seen{lacking}")
    now = _full(forecast) or _does_not_fit(context, volume, forecast) or _not_shown(forecast)
    if now is not None:
        return now
    ahead = _ahead(context, forecast, asked)
    if ahead.answer is Answer.NONCONFORMITY:
        return ahead
    unseen = [str(copy.address) for copy in _copies(context, volume) if _fit_is_unknown(copy)]
    if unseen:
        said = f"whether what {' and '.join(unseen)} lacks fits is not known: it was not compared"
        return _unverified(room(forecast), f"{said} ({ahead.said})")
    return ahead


def _unverified(measured: str, said: str) -> Outlook:
    return Outlook(answer=Answer.UNVERIFIED, measured=measured, said=said, mend=_SEE)


def _not_shown(forecast: RoomForecast) -> Outlook | None:
    if forecast.last.free is None or not forecast.last.capacity:
        return _unverified("not shown", "it does not show how much room it has")
    if forecast.inodes is not None and forecast.last.inodes_free is None:
        return _unverified("inodes not shown", "it does not show its inodes any more")
    return None


def _full(forecast: RoomForecast) -> Outlook | None:
    last = forecast.last
    if last.free == 0:
        return _failing(room(forecast), "it is full: 0 bytes are free", "full")
    if last.inodes and last.inodes_free == 0:
        return _failing("no inode free", f"it is full: none of its {last.inodes} inodes is free", "full")
    return None


def _does_not_fit(context: DatasetContext, volume: VolumeKey, forecast: RoomForecast) -> Outlook | None:
    """Say that what the copies on a volume lack is more than it can take. Files under an old name need no more room."""
    free, need = forecast.last.free, Tally()
    for copy in _copies(context, volume):
        found = copy.comparison
        if found is not None:
            need += Tally(
                files=max(0, found.missing.files - found.under_old_name.files),
                bytes=max(0, found.missing.bytes - found.under_old_name.bytes),
            )
    if free is not None and need.bytes > free:
        said = f"{format_size(need.bytes)} are still to come to it, and only {format_size(free)} are free"
        return _failing(room(forecast), said, "overfull")
    left = forecast.last.inodes_free
    if forecast.last.inodes and left is not None and need.files > left:
        return _failing(
            room(forecast), f"{need.files} files are still to come, and only {left} inodes are free", "overfull"
        )
    return None


def _failing(measured: str, said: str, kind: str) -> Outlook:
    return Outlook(answer=Answer.NONCONFORMITY, measured=measured, said=said, kind=kind)


def _ahead(context: DatasetContext, forecast: RoomForecast, asked: timedelta) -> Outlook:
    first = sooner(forecast)
    if forecast.bytes is None or first is None:
        return _too_short(context, forecast)
    by = context.finished + asked
    worst = max((_answer(found, by), found is first[1], what) for what, found in _known(forecast))
    what = worst[2]
    found = forecast.inodes if what == "inodes" and forecast.inodes else forecast.bytes
    when = dates(found, context.zone)
    measured = f"full {when}; {room(forecast)}, {pace(what, found)}"
    of_them = "its inodes are used up" if what == "inodes" else "it is full"
    said = f"at the present pace ({pace(what, found)}) {of_them}: {when}"
    if worst[0] == _BEFORE:
        return Outlook(answer=Answer.NONCONFORMITY, measured=measured, said=said, kind="filling")
    if worst[0] == _MAYBE:
        said += f"; that it is within {duration(asked)} cannot be ruled out"
        return Outlook(answer=Answer.OBSERVATION, measured=measured, said=said)
    return Outlook(answer=Answer.CONFORMITY, measured=measured, said=said)


_LATER, _MAYBE, _BEFORE = 0, 1, 2


def _answer(found: Filling, by: datetime) -> int:
    """Say whether it is full before an instant: likely, and growth is shown at all; not ruled out; or not."""
    if found.reached is not None and found.reached < by and found.pace_low > 0:
        return _BEFORE
    return _MAYBE if found.earliest is not None and found.earliest < by else _LATER


def _known(forecast: RoomForecast) -> Iterable[tuple[str, Filling]]:
    if forecast.bytes is not None:
        yield "bytes", forecast.bytes
    if forecast.inodes is not None:
        yield "inodes", forecast.inodes


def _too_short(context: DatasetContext, forecast: RoomForecast) -> Outlook:
    """Say what the history lacks: for as long as it could not be longer, that is observed and no more."""
    more = LEAST - forecast.days
    need = f"{more} more day{'s' if more != 1 else ''} of history {'are' if more != 1 else 'is'} needed"
    since = forecast.known_since
    step = max(timedelta(days=1), *(_may_be_away(context, place) for place in _places(context, forecast.volume)))
    if since is not None and context.finished - since <= LEAST * step + _GRACE:
        said = f"when it is full is not known yet: {need} ({room(forecast)})"
        return Outlook(answer=Answer.OBSERVATION, measured=f"{forecast.days} of {LEAST} days", said=said)
    why = "its history is not known" if since is None else f"it was seen first {age(since, context.finished)}"
    return _unverified(f"{forecast.days} of {LEAST} days", f"when it is full cannot be told: {need}, and {why}")


def _places(context: DatasetContext, volume: VolumeKey) -> Iterable[PlaceEvidence]:
    if context.dataset.original.volume == volume:
        yield context.case.original.place
    for copy in _copies(context, volume):
        yield copy.evidence.place


def _copies(context: DatasetContext, volume: VolumeKey) -> Iterable[JudgedCopy]:
    return (copy for copy in context.copies if copy.address.volume == volume)


def _fit_is_unknown(copy: JudgedCopy) -> bool:
    return copy.comparison is None and not copy.evidence.copy.is_opaque


def _may_be_away(context: DatasetContext, place: PlaceEvidence) -> timedelta:
    """Return for how long a volume's room may not have been seen."""
    if isinstance(place.device.access, ShelfAccess):
        ages = [copy.evidence.copy.max_age or context.policy.max_age for copy in _copies(context, place.volume.key)]
        return max(ages, default=context.policy.max_age)
    return place.device.may_be_off or timedelta(0)


def _not_seen(context: DatasetContext, places: Iterable[PlaceEvidence], forecast: RoomForecast | None) -> str:
    """Say why what is known of a volume's room does not count any more (empty: it does)."""
    for place in places:
        check, facts = place.identity, place.volume_facts
        if not isinstance(check, Gap) and not check.trusted:
            return f": {check.state}"
        gap = next((each for each in (facts, check) if isinstance(each, Gap)), None)
        if gap is not None and gap.kind not in {GapKind.UNREACHABLE, GapKind.SHELF}:
            return f": {gap.kind}"
        seen = forecast.last.at if forecast else None
        if seen is None or (seen < context.started and context.finished - seen > _may_be_away(context, place)):
            last = f" (last {age(seen, context.finished)})" if seen else ""
            return f" in this audit{last}"
    return ""
