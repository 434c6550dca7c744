"""Whether the auditor itself does its work: the last and the next audit, what failed, how old everything is.

It is asked from outside of the daemon and trusts nothing that the daemon says of itself: only finished audits count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.audits.damaged_since import damaged_since
from coverage_audit.audits.declared_since import unjudged
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.former import Lineage, lineage_of
from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.judgement.conclusions import conclude_estate
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.judgement.waiving import Waiver
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.outgoing import Queued
from coverage_audit.ledger.past_record import AuditDay, DatasetDay, NightRecord
from coverage_audit.ledger.present_record import NightCounts, OpenFinding

GRACE: Final = timedelta(hours=8)
"""So long after its time an audit may finish before it is overdue."""

WAITS_TOO_LONG: Final = timedelta(hours=24)
"""A notice that was not delivered for so long is trouble of its own; quiet hours are over by then."""

AHEAD: Final = timedelta(minutes=5)
"""So far a clock may have been ahead and set back without a word."""

SOON: Final = timedelta(days=14)
"""Waivers that end within this time are said."""


class Standing(StrEnum):
    """What a script wants to know, the gravest that applies."""

    OVERDUE = "overdue"
    UNDELIVERED = "undelivered"
    NONCONFORMING = "nonconforming"
    UNVERIFIED = "unverified"
    GOOD = "good"


class Kind(StrEnum):
    """What evidence is of."""

    DEVICE = "device"
    SHELF_DRIVE = "shelf drive"
    DATASET = "dataset"
    COPY = "copy"


@dataclass(frozen=True, kw_only=True)
class Timetable:
    """What the declared schedule says at a moment. `audit`, `summary` None: no time is declared for it.

    An audit that was to begin at `expected` should have finished by now: so no older one counts.
    """

    expected: datetime
    audit: datetime | None
    summary: datetime | None


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """When a part of the estate was last seen (None: never). `name` is as the estate declares it."""

    kind: Kind
    name: str
    at: datetime | None


@dataclass(frozen=True, kw_only=True)
class DatasetStatus:
    """A dataset as it was judged last (None: it never was).

    `passed_over`: the last audit of all datasets knew nothing of it, for it had left the estate and came back since.
    """

    id: DatasetId
    last: DatasetDay | None
    passed_over: bool = False

    @property
    def conclusion(self) -> Conclusion:
        """Its conclusion: what was never judged, or conformed only before it left, is unverified."""
        if self.last is None or (self.passed_over and self.last.conclusion is Conclusion.CONFORMING):
            return Conclusion.UNVERIFIED
        return self.last.conclusion


@dataclass(frozen=True, kw_only=True)
class Status:
    """How the auditor stands `at` a moment. `night` is the one noted last, `daemon` the process that runs as it.

    `targets` are the declared addresses of notices; `undelivered` is what waits in the outbox for one of them, `astray`
    what waits for one that is declared no more. `unjudged` is what was declared otherwise since the last audit,
    and what drills found damaged; `waived` how many findings are.
    """

    estate: str
    zone: ZoneInfo
    at: datetime
    times: Timetable
    last: AuditDay | None
    night: NightRecord | None
    nights: NightCounts
    daemon: str | None
    datasets: tuple[DatasetStatus, ...]
    failing: tuple[OpenFinding, ...]
    evidence: tuple[Evidence, ...]
    targets: tuple[str, ...]
    undelivered: tuple[Queued, ...]
    astray: tuple[Queued, ...]
    waivers: tuple[Waiver, ...]
    waived: int = 0
    unjudged: tuple[EstateChange, ...] = ()

    @property
    def overdue(self) -> bool:
        """Whether no audit finished within the schedule and its grace."""
        return self.last is None or self.last.finished < self.times.expected

    @property
    def waiting_too_long(self) -> tuple[Queued, ...]:
        """Return the notices that were not delivered for too long; one from a future may have waited for ever."""
        return tuple(one for one in self.undelivered if not -AHEAD <= self.at - one.created <= WAITS_TOO_LONG)

    @property
    def conclusion(self) -> Conclusion | None:
        """The last audit's conclusion (None: there was none), or what is worse in a dataset that was judged since.

        Of what was declared otherwise since, an audit proves nothing.
        """
        if self.last is None:
            return None
        found = [self.last.conclusion, *(dataset.conclusion for dataset in self.datasets)]
        return conclude_estate([*found, Conclusion.UNVERIFIED] if self.unjudged else found, ())

    @property
    def standing(self) -> Standing:
        """The gravest that applies: an old conclusion says nothing, and one that reached nobody mends nothing."""
        if self.overdue or self.conclusion is None:
            return Standing.OVERDUE
        if self.waiting_too_long:
            return Standing.UNDELIVERED
        return _OF_CONCLUSIONS[self.conclusion]


_OF_CONCLUSIONS: Final = {
    Conclusion.CONFORMING: Standing.GOOD,
    Conclusion.NONCONFORMING: Standing.NONCONFORMING,
    Conclusion.UNVERIFIED: Standing.UNVERIFIED,
}


def status_of(estate: Estate, ledger: Ledger, now: datetime, times: Timetable) -> Status:
    """Return how the auditor stands at `now`; `times` are those of this moment. Raises LedgerError."""
    lineage = lineage_of(estate)
    targets = tuple(target.name for target in estate.notices)
    waiting = ledger.outbox.pending()
    judged = ledger.present.datasets((dataset.id for dataset in estate.datasets), lineage)
    last = ledger.present.last_audit(now)

    def judged_at(name: DatasetId) -> datetime:
        return day.at if (day := judged.get(name)) is not None else datetime.min.replace(tzinfo=UTC)

    return Status(
        estate=estate.name,
        zone=estate.time_zone,
        at=now,
        times=times,
        last=last,
        night=ledger.nights.last(),
        nights=ledger.present.night_counts(),
        daemon=ledger.present.daemon(),
        datasets=tuple(_dataset(dataset.id, judged.get(dataset.id), last) for dataset in estate.datasets),
        failing=ledger.present.open_findings(),
        evidence=tuple(_evidence(estate, ledger, lineage, now)),
        targets=targets,
        undelivered=tuple(one for one in waiting if one.target in targets),
        astray=tuple(one for one in waiting if one.target not in targets),
        waivers=tuple(one for one in ledger.waivers.in_force(now) if one.until - now <= SOON),
        waived=ledger.present.waived(),
        unjudged=(*damaged_since(estate, ledger, judged_at), *unjudged(ledger.present.last_estate(now), estate)),
    )


def _dataset(name: DatasetId, day: DatasetDay | None, last: AuditDay | None) -> DatasetStatus:
    passed_over = day is not None and last is not None and day.at < last.started
    return DatasetStatus(id=name, last=day, passed_over=passed_over)


def _evidence(estate: Estate, ledger: Ledger, lineage: Lineage, now: datetime) -> Iterator[Evidence]:
    """Go through all that evidence can be of, in the order in which it is declared."""
    present = ledger.present
    for device in estate.devices:
        names = lineage.of_device(device.id)
        if isinstance(device.access, ShelfAccess):
            yield Evidence(kind=Kind.SHELF_DRIVE, name=device.id, at=present.drive_recorded(names, now))
        else:
            yield Evidence(kind=Kind.DEVICE, name=device.id, at=present.device_seen(names, now))
    for dataset in estate.datasets:
        seen = present.place_seen(lineage.of_place(dataset.id, dataset.original), now)
        yield Evidence(kind=Kind.DATASET, name=dataset.id, at=seen)
        for copy in dataset.copies:
            seen = present.place_seen(lineage.of_place(dataset.id, copy.address), now)
            yield Evidence(kind=Kind.COPY, name=f"{dataset.id} at {copy.address}", at=seen)
