"""The rows of what the boxes showed: devices, volumes, recovery points."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection, delete, insert

from coverage_audit.estate.model import Address, VolumeKey
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import DeviceFacts, PointList, VolumeFacts
from coverage_audit.evidence.points_past import PointsPast
from coverage_audit.ledger.mapping import store_device_facts, store_points, store_volume_facts
from coverage_audit.ledger.mapping_past import store_past
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.ledger.tables import DEVICE_FACTS, POINTS, VOLUME_FACTS


def write_facts(connection: Connection, audit: int, record: AuditRecord) -> None:
    """Write what every box showed of itself in an audit; gaps are written with the judgement."""
    trusted = {check.volume: check.trusted for check in record.judged.identities}
    pasts = _pasts(record)
    for answer in record.answers:
        if isinstance(answer.facts, DeviceFacts):
            _write_device(connection, audit, answer.facts)
        for facts in answer.volumes:
            if isinstance(facts, VolumeFacts):
                _write_volume(connection, audit, facts, trusted=trusted.get(facts.volume))
        _write_points(connection, audit, answer, trusted, pasts)


def _write_device(connection: Connection, audit: int, facts: DeviceFacts) -> None:
    connection.execute(
        insert(DEVICE_FACTS).values(audit=audit, device=facts.device, at=facts.at, body=store_device_facts(facts))
    )


def _write_volume(connection: Connection, audit: int, facts: VolumeFacts, *, trusted: bool | None) -> None:
    connection.execute(
        insert(VOLUME_FACTS).values(
            audit=audit,
            device=facts.volume.device,
            volume=facts.volume.volume,
            at=facts.at,
            capacity=facts.capacity,
            free=facts.free,
            trusted=trusted,
            body=store_volume_facts(facts),
        )
    )


def _pasts(record: AuditRecord) -> Mapping[Address, PointsPast]:
    copies = (copy for dataset in record.judged.datasets for copy in dataset.copies)
    return {copy.address: copy.evidence.past for copy in copies if copy.evidence.past is not None}


def _write_points(
    connection: Connection,
    audit: int,
    answer: Answer,
    trusted: Mapping[VolumeKey, bool],
    pasts: Mapping[Address, PointsPast],
) -> None:
    """Keep the last list of each copy, and what is remembered of those before; none of a volume that is another one."""
    for seen in answer.points:
        if not isinstance(seen.outcome, PointList) or trusted.get(seen.address.volume) is False:
            continue
        place, past = seen.address, pasts.get(seen.address)
        connection.execute(
            delete(POINTS).where(
                POINTS.c.device == place.volume.device,
                POINTS.c.volume == place.volume.volume,
                POINTS.c.path == place.path,
            )
        )
        connection.execute(
            insert(POINTS).values(
                device=place.volume.device,
                volume=place.volume.volume,
                path=place.path,
                audit=audit,
                at=seen.outcome.at,
                body={**store_points(seen.outcome), **({"past": store_past(past)} if past is not None else {})},
            )
        )
