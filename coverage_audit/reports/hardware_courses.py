"""What became of drives, filesystems and room in a look back, by what the volumes themselves showed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from coverage_audit.audits.looking_back import LookedBack
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.ledger.estates_kept import VolumeShown
from coverage_audit.ledger.past_record import VolumeDay


@dataclass(frozen=True, kw_only=True)
class Stay:
    """A drive under one volume, from the audit that first saw it there to the one that last did."""

    volume: VolumeKey
    first: datetime
    last: datetime


@dataclass(frozen=True, kw_only=True)
class DriveCourse:
    """One drive by its serial.

    `came`: when it was first seen, where its volume was seen without it before, or is new. `went`: when it was last
    seen, where it is not there any more. `moved`: from which volume to which, and when it was first seen there.
    """

    serial: str
    stays: tuple[Stay, ...]
    came: datetime | None
    went: datetime | None
    moved: tuple[tuple[VolumeKey, VolumeKey, datetime], ...]

    @property
    def changed(self) -> bool:
        """Whether anything happened to it."""
        return self.came is not None or self.went is not None or bool(self.moved)


@dataclass(frozen=True, kw_only=True)
class NewFilesystem:
    """A volume that shows another filesystem since `at`."""

    volume: VolumeKey
    at: datetime
    before: str
    now: str


@dataclass(frozen=True, kw_only=True)
class VolumeCourse:
    """One volume's room as it was first and last shown in the span (None: never)."""

    volume: VolumeKey
    first: VolumeDay | None
    last: VolumeDay | None
    declared_then: bool
    declared_now: bool


@dataclass(frozen=True, kw_only=True)
class RoomSum:
    """The room of `shown` volumes together, of `volumes` that count, in bytes.

    Volumes on one filesystem count once, those stored on another volume not at all.
    """

    capacity: int
    used: int
    shown: int
    volumes: int


def drive_courses(looked: LookedBack) -> tuple[DriveCourse, ...]:
    """Return every drive that was seen, by serial."""
    then, now = _declared(looked.then, looked.now), _declared(looked.now, looked.now)
    by_volume: dict[VolumeKey, list[VolumeShown]] = {}
    for one in looked.shown:
        belongs = one.last > looked.back.since or one.volume in then or one.volume in now
        if one.drives and belongs:  # what had left before the span is not of it
            by_volume.setdefault(one.volume, []).append(one)
    serials = sorted({serial for shown in by_volume.values() for one in shown for serial in one.drives})
    return tuple(_drive(serial, by_volume, then if looked.then else None, now) for serial in serials)


def _drive(
    serial: str,
    by_volume: Mapping[VolumeKey, Sequence[VolumeShown]],
    then: Iterable[VolumeKey] | None,
    now: Iterable[VolumeKey],
) -> DriveCourse:
    stays = []
    for volume, shown in by_volume.items():
        held = [one for one in shown if serial in one.drives]
        if held:
            stays.append(Stay(volume=volume, first=held[0].first, last=held[-1].last))
    stays.sort(key=lambda stay: (stay.first, stay.volume))
    first, last = stays[0], max(stays, key=lambda stay: stay.last)
    is_new = first.first > by_volume[first.volume][0].first or (then is not None and first.volume not in then)
    is_gone = last.last < by_volume[last.volume][-1].last or last.volume not in now
    moved = tuple((left.volume, stay.volume, stay.first) for left, stay in pairwise(stays) if left.last < stay.first)
    return DriveCourse(
        serial=serial,
        stays=tuple(stays),
        came=first.first if is_new else None,
        went=last.last if is_gone else None,
        moved=moved,
    )


def new_filesystems(shown: Sequence[VolumeShown]) -> tuple[NewFilesystem, ...]:
    """Return where another filesystem lies than before, in the order of time."""
    found = [
        NewFilesystem(volume=one.volume, at=one.first, before=before.filesystem, now=one.filesystem)
        for before, one in pairwise(shown)
        if one.volume == before.volume and before.filesystem and one.filesystem and one.filesystem != before.filesystem
    ]
    return tuple(sorted(found, key=lambda one: (one.at, one.volume)))


def volume_courses(looked: LookedBack) -> tuple[VolumeCourse, ...]:
    """Return every volume: present ones in the order of the estate, then those that went."""
    days: dict[VolumeKey, list[VolumeDay]] = {}
    for day in looked.back.volumes:
        if day.capacity is not None and day.free is not None:
            days.setdefault(day.volume, []).append(day)
    then, now = _declared(looked.then, looked.now), _declared(looked.now, looked.now)
    return tuple(
        VolumeCourse(
            volume=volume,
            first=days[volume][0] if volume in days else None,
            last=days[volume][-1] if volume in days else None,
            declared_then=volume in then if looked.then else volume in days,
            declared_now=volume in now,
        )
        for volume in dict.fromkeys((*now, *then, *days))
    )


def room_sums(looked: LookedBack, courses: Sequence[VolumeCourse]) -> tuple[RoomSum, RoomSum]:
    """Return the room then and now."""
    inside = {*_declared(looked.then, looked.now, inside=True), *_declared(looked.now, looked.now, inside=True)}
    first = {one.volume: one.filesystem for one in reversed(looked.shown)}
    last = {one.volume: one.filesystem for one in looked.shown}
    then = [(one.volume, one.first) for one in courses if one.declared_then and one.volume not in inside]
    now = [(one.volume, one.last) for one in courses if one.declared_now and one.volume not in inside]
    return _sum(then, first), _sum(now, last)


def _sum(rooms: Sequence[tuple[VolumeKey, VolumeDay | None]], filesystems: Mapping[VolumeKey, str | None]) -> RoomSum:
    apart: dict[object, VolumeDay | None] = {}
    for volume, day in rooms:
        place = filesystems.get(volume) or volume
        apart[place] = apart.get(place) or day
    shown = [day for day in apart.values() if day is not None]
    return RoomSum(
        capacity=sum(day.capacity or 0 for day in shown),
        used=sum((day.capacity or 0) - (day.free or 0) for day in shown),
        shown=len(shown),
        volumes=len(apart),
    )


def _declared(estate: Estate | None, now: Estate, *, inside: bool = False) -> tuple[VolumeKey, ...]:
    """Return an estate's volumes by their devices' present names; with `inside` those stored on another alone."""
    lineage = lineage_of(now)
    return tuple(
        lineage.of_volume(volume.key)[0]
        for device in (estate.devices if estate else ())
        for volume in device.volumes
        if volume.stored_on is not None or not inside
    )
