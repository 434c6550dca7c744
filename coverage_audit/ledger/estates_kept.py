"""What the ledger kept of the estate through time: its texts, and what each volume showed of its identity."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, and_, func, or_, select

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DeviceId, VolumeId, VolumeKey
from coverage_audit.ledger.tables import AUDITS, ESTATE_TEXTS, VOLUME_FACTS
from coverage_audit.ledger.transactions import Transactions


@dataclass(frozen=True, kw_only=True)
class KeptEstate:
    """The text of the estate that the audit judged which began at `at`."""

    at: datetime
    text: str


@dataclass(frozen=True, kw_only=True)
class VolumeShown:
    """What a volume showed of itself, the same from the audit begun at `first` to the one begun at `last`.

    `filesystem` is its UUID (None: not shown), `drives` serials or WWNs (empty: none was shown).
    """

    volume: VolumeKey
    first: datetime
    last: datetime
    filesystem: str | None
    drives: frozenset[str]


class EstatesKept(Transactions):
    """The estate as audits found it. Every method raises LedgerError."""

    def first_audit(self) -> datetime | None:
        """Return when the first audit began (None: there was none)."""
        with self._reading() as connection:
            first: datetime | None = connection.execute(
                select(AUDITS.c.started).order_by(AUDITS.c.started).limit(1)
            ).scalar()
            return first

    def estate_at(self, instant: datetime) -> KeptEstate | None:
        """Return the estate in force at an instant: that of the last audit until then, else of the first after it."""
        with self._reading() as connection:
            texts = select(AUDITS.c.started, ESTATE_TEXTS.c.text).join(ESTATE_TEXTS)
            until = texts.where(AUDITS.c.started <= instant).order_by(AUDITS.c.started.desc(), AUDITS.c.id.desc())
            after = texts.where(AUDITS.c.started > instant).order_by(AUDITS.c.started, AUDITS.c.id)
            row = connection.execute(until.limit(1)).first() or connection.execute(after.limit(1)).first()
            return None if row is None else KeptEstate(at=row.started, text=row.text)

    def shown(self, since: datetime, until: datetime, lineage: Lineage) -> tuple[VolumeShown, ...]:
        """Return what each volume showed after `since` until `until`, and last before it; a new value at each change.

        Volumes bear their devices' present names. What lay there in a volume's stead is not told of, and what was not
        shown at all does not interrupt what was.
        """
        with self._reading() as connection:
            rows = _rows(connection, since, until)
        now_called = {former: names[0] for names in lineage.devices for former in names}
        seen: dict[VolumeKey, list[VolumeShown]] = {}
        for row in rows:
            device = now_called.get(row.device, DeviceId(row.device))
            one = _one(row, VolumeKey(device=device, volume=VolumeId(row.volume)))
            _take_up(seen.setdefault(one.volume, []), one)
        return tuple(one for volume in sorted(seen) for one in seen[volume])


def _rows(connection: Connection, since: datetime, until: datetime) -> Iterable[Any]:
    own = or_(VOLUME_FACTS.c.trusted.is_(None), VOLUME_FACTS.c.trusted)
    table = VOLUME_FACTS.c
    before = (
        select(table.device, table.volume, func.max(AUDITS.c.started).label("started"))
        .join(AUDITS, AUDITS.c.id == table.audit)
        .where(own, AUDITS.c.started <= since)
        .group_by(table.device, table.volume)
        .subquery()
    )
    is_last_before = and_(
        before.c.device == table.device, before.c.volume == table.volume, before.c.started == AUDITS.c.started
    )
    return connection.execute(
        select(table.device, table.volume, table.body, AUDITS.c.started)
        .join(AUDITS, AUDITS.c.id == table.audit)
        .outerjoin(before, is_last_before)
        .where(own, AUDITS.c.started <= until, or_(AUDITS.c.started > since, before.c.started.is_not(None)))
        .order_by(AUDITS.c.started, AUDITS.c.id, table.device, table.volume)
    ).all()


def _one(row: Any, volume: VolumeKey) -> VolumeShown:
    """Take a row's identity; the path of a socket into which a drive is plugged tells no drive."""
    return VolumeShown(
        volume=volume,
        first=row.started,
        last=row.started,
        filesystem=row.body["filesystem_uuid"],
        drives=frozenset(drive for drive in row.body["drives"] if not drive.startswith("path:")),
    )


def _take_up(seen: list[VolumeShown], one: VolumeShown) -> None:
    if not seen:
        seen.append(one)
        return
    last = seen[-1]
    whole = replace(one, filesystem=one.filesystem or last.filesystem, drives=one.drives or last.drives)
    if (whole.filesystem, whole.drives) == (last.filesystem, last.drives):
        seen[-1] = replace(last, last=one.last)
    elif (last.filesystem or one.filesystem, last.drives or one.drives) == (whole.filesystem, whole.drives):
        seen[-1] = replace(whole, first=last.first)  # the same, of which more was shown now
    else:
        seen.append(whole)
