"""The room of volumes: what is free now, what was free a month and a quarter ago, and when it is used up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Final

from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.estate.units import format_size
from coverage_audit.ledger.past_record import LookBack, VolumeDay
from coverage_audit.reports.days import Span
from coverage_audit.reports.pictures import Line, line

SPANS: Final = (30, 90)
"""The spans in days over which a change is stated."""
_EARLIER: Final = timedelta(days=7)
"""So much older than its span an observation may be that stands for it."""
_SAME_SIZE: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class RoomView:
    """One volume's room. `free` None: it was never shown. `share` is the free part in per cent, cut.

    `changes` are in words, one for each of `SPANS`; `as_of` is set where the figure is not of the last audit.
    `fills` says when it is full (None: not known).
    """

    volume: VolumeKey
    free: str | None
    capacity: str | None
    share: int | None
    changes: tuple[str, ...]
    as_of: date | None
    line: Line
    fills: str | None = None


def rooms_view(
    back: LookBack, estate: Estate, span: Span, fills: Mapping[VolumeKey, str] | None = None
) -> tuple[RoomView, ...]:
    """Prepare every declared volume, in the order of the estate; `fills` says when each is full, where it is known."""
    days = _days_by_volume(back, estate)
    last = max((audit.started for audit in back.audits), default=back.until)
    volumes = (volume.key for device in estate.devices for volume in device.volumes)
    known = fills or {}
    return tuple(replace(_room(key, days.get(key, []), last, span), fills=known.get(key)) for key in volumes)


def fullest_first(rooms: Sequence[RoomView]) -> tuple[RoomView, ...]:
    """Return the volumes that showed their room, the fullest first."""
    shown = [room for room in rooms if room.share is not None]
    return tuple(sorted(shown, key=lambda room: (room.share or 0, str(room.volume))))


def _days_by_volume(back: LookBack, estate: Estate) -> Mapping[VolumeKey, list[VolumeDay]]:
    present = {former: device.id for device in estate.devices for former in device.formerly}
    found: dict[VolumeKey, list[VolumeDay]] = {}
    for day in sorted(back.volumes, key=lambda each: each.at):
        device = present.get(day.volume.device, day.volume.device)
        found.setdefault(VolumeKey(device=device, volume=day.volume.volume), []).append(day)
    return found


def _room(key: VolumeKey, days: Sequence[VolumeDay], last: datetime, span: Span) -> RoomView:
    shown = [day for day in days if day.free is not None and day.capacity]
    now = shown[-1] if shown else None
    before = [_before(shown, now.at - timedelta(days=length)) for length in SPANS] if now else []
    drawn = {span.of(day.at): day.free for day in shown}
    first = min(drawn, default=span.last)
    return RoomView(
        volume=key,
        free=format_size(now.free or 0) if now else None,
        capacity=format_size(now.capacity or 0) if now else None,
        share=100 * (now.free or 0) // now.capacity if now and now.capacity else None,
        changes=tuple(_change(now, then) for then in before) if now else (),
        as_of=span.of(now.at) if now and now.at < last else None,
        line=line(
            [drawn.get(day) if day >= first else 0 for day in span.all()],
            top=max((day.capacity or 0 for day in shown), default=0),
        ),
    )


def _before(shown: Sequence[VolumeDay], instant: datetime) -> VolumeDay | None:
    """Return the last observation at or before an instant, None where it is too long before it."""
    earlier = [day for day in shown if instant - _EARLIER <= day.at <= instant + timedelta(hours=12)]
    return earlier[-1] if earlier else None


def _change(now: VolumeDay, then: VolumeDay | None) -> str:
    """Say by how much the free room changed; where the volume itself is another size, that is said instead."""
    if then is None:
        return "not known"
    old, new = then.capacity or 0, now.capacity or 0
    if abs(new - old) > _SAME_SIZE * old:
        return f"was {format_size(then.free or 0)} free of {format_size(old)}"
    change = (now.free or 0) - (then.free or 0)
    if not change:
        return "as it was"
    return f"{format_size(abs(change))} {'more' if change > 0 else 'less'}"
