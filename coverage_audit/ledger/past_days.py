"""What each audit of a span saw of each dataset and of each volume: the rows of which trends are made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from operator import itemgetter
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Connection, Row, Table, select

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DatasetId, DeviceId, VolumeId, VolumeKey
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import AuditDay, DatasetDay, VolumeDay
from coverage_audit.ledger.tables import AUDITS, JUDGED_DATASETS, VOLUME_FACTS

_CONCLUSIONS = {one.value: one for one in Conclusion}


@dataclass(frozen=True, kw_only=True)
class Span:
    """The audits after `since` until `until`, in the order of time; `started` is the same by their numbers.

    `zone`: of each local date only the last that was seen counts (None: everything does).
    """

    since: datetime
    until: datetime
    audits: tuple[AuditDay, ...]
    started: Mapping[int, datetime]
    zone: ZoneInfo | None

    @cached_property
    def slots(self) -> Mapping[int, tuple[int, datetime | date]]:
        """By its number, each audit's place in the order of time and what it is told of as: itself, or its date."""
        return {
            number: (place, at if self.zone is None else at.astimezone(self.zone).date())
            for place, (number, at) in enumerate(self.started.items())
        }

    def holds(self, table: Table) -> ColumnElement[bool]:
        """Return the condition that a row belongs to one of these audits."""
        inside = select(AUDITS.c.id).where(AUDITS.c.started > self.since, AUDITS.c.started <= self.until)
        return table.c.audit.in_(inside)


def dataset_days(connection: Connection, span: Span, lineage: Lineage) -> tuple[DatasetDay, ...]:
    """Return what was concluded of each dataset, in the order of time, by its present name.

    What was seen of a part of an original, or on another volume, is not its size.
    """
    table = JUDGED_DATASETS.c
    columns: list[Any] = [table.audit, table.dataset, table.conclusion, table.original_files, table.original_bytes]
    columns += [table.original_whole, table.exposed_files, table.exposed_bytes, table.exposed_since]
    rows = connection.execute(select(*columns).where(span.holds(JUDGED_DATASETS)))
    now_called = {former: names[0] for names in lineage.datasets for former in names}
    named = ((DatasetId(row.dataset), now_called.get(row.dataset), row) for row in rows)
    return tuple(
        DatasetDay(
            dataset=dataset,
            at=span.started[row.audit],
            conclusion=_CONCLUSIONS[row.conclusion],
            files=None if row.original_whole is False else row.original_files,
            bytes=None if row.original_whole is False else row.original_bytes,
            exposed_files=row.exposed_files,
            exposed_bytes=row.exposed_bytes,
            exposed_since=row.exposed_since,
        )
        for dataset, row in _last_of_each(named, span)
    )


def volume_days(connection: Connection, span: Span, lineage: Lineage) -> tuple[VolumeDay, ...]:
    """Return the room that each volume showed, in the order of time, by its device's present name.

    What lay there in its stead (an empty mount point shows the room of the drive below) is not told of.
    """
    table = VOLUME_FACTS.c
    columns: list[Any] = [table.audit, table.device, table.volume, table.capacity, table.free]
    own = table.trusted.is_(None) | table.trusted
    rows = connection.execute(select(*columns).where(span.holds(VOLUME_FACTS), own))
    now_called = {former: names[0] for names in lineage.devices for former in names}
    named = (
        (_volume(row.device, row), _volume(now_called[row.device], row) if row.device in now_called else None, row)
        for row in rows
    )
    return tuple(
        VolumeDay(volume=volume, at=span.started[row.audit], capacity=row.capacity, free=row.free)
        for volume, row in _last_of_each(named, span)
    )


def _volume(device: str, row: Row[Any]) -> VolumeKey:
    return VolumeKey(device=DeviceId(device), volume=VolumeId(row.volume))


_Name = TypeVar("_Name", DatasetId, VolumeKey)


def _last_of_each(
    named: Iterable[tuple[_Name, _Name | None, Row[Any]]], span: Span
) -> Iterator[tuple[_Name, Row[Any]]]:
    """Go through the rows that count, each by its part's present name; `named` gives the one it bears before that.

    Where one audit told of a part under two of its names, the present one counts. An audit that was recorded only just
    now, after the span was taken, is none of it.
    """
    kept: dict[tuple[_Name, datetime | date], tuple[int, bool, Row[Any]]] = {}
    for own, present, row in named:
        if row.audit not in span.slots:
            continue
        place, told_as = span.slots[row.audit]
        key = (own if present is None else present, told_as)
        now = (place, key[0] == own, row)
        if key not in kept or kept[key][:2] <= now[:2]:
            kept[key] = now
    by_place: dict[int, list[tuple[_Name, Row[Any]]]] = {}
    for (name, _), (place, _, row) in kept.items():
        by_place.setdefault(place, []).append((name, row))
    for _, some in sorted(by_place.items()):
        yield from sorted(some, key=itemgetter(0))
