"""Facts and findings as JSON and back, field by field: what is stored does not change when a class is renamed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import (
    DatedBy,
    DeviceFacts,
    PinnedFact,
    PointList,
    RecoveryPoint,
    VolumeFacts,
)
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.ledger.mapping_acceptance import load_acceptance, store_acceptance
from coverage_audit.ledger.mapping_filesystems import load_filesystem, store_filesystem

Stored = Mapping[str, Any]
_MICROSECOND = timedelta(microseconds=1)


def store_finding(finding: Finding) -> Stored:
    """Return the stored form of a finding."""
    return {
        "rule": finding.rule,
        "subject": finding.subject,
        "answer": finding.answer.value,
        "measured": finding.measured,
        "required": finding.required,
        "message": finding.message,
        "mend": finding.mend,
        "control": finding.control,
        "evidence": [
            {"what": item.what, "where": item.where, "at": _instant(item.at), "how": item.how}
            for item in finding.evidence
        ],
        "degree": finding.degree,
        "kind": finding.kind,
        "waivable": finding.waivable,
        "acceptance": None if finding.acceptance is None else store_acceptance(finding.acceptance),
    }


def load_finding(stored: Stored) -> Finding:
    """Return the finding of its stored form."""
    return Finding(
        rule=stored["rule"],
        subject=stored["subject"],
        answer=Answer(stored["answer"]),
        measured=stored["measured"],
        required=stored["required"],
        message=stored["message"],
        mend=stored["mend"],
        control=stored["control"],
        evidence=tuple(
            EvidenceItem(what=item["what"], where=item["where"], at=_parsed(item["at"]), how=item["how"])
            for item in stored["evidence"]
        ),
        degree=stored.get("degree"),
        kind=stored.get("kind", ""),
        waivable=stored.get("waivable", True),
        acceptance=load_acceptance(stored["acceptance"]) if stored.get("acceptance") else None,
    )


def store_device_facts(facts: DeviceFacts) -> Stored:
    """Return the stored form of what a device showed (durations in microseconds)."""
    return {
        "over": facts.over,
        "machine_id": facts.machine_id,
        "boot_id": facts.boot_id,
        "host_key": facts.host_key,
        "is_guest": facts.is_guest,
        "own_addresses": sorted(facts.own_addresses),
        "clock_offset_us": _microseconds(facts.clock_offset),
        "clock_uncertainty_us": _microseconds(facts.clock_uncertainty),
        "time_zone": facts.time_zone,
        "filesystems": [store_filesystem(each) for each in facts.filesystems],
        "filesystems_unseen": facts.filesystems_unseen,
    }


def load_device_facts(device: str, at: datetime, stored: Stored) -> DeviceFacts:
    """Return what a device showed."""
    return DeviceFacts(
        device=DeviceId(device),
        at=at,
        over=stored["over"],
        machine_id=stored["machine_id"],
        boot_id=stored["boot_id"],
        host_key=stored["host_key"],
        is_guest=stored["is_guest"],
        own_addresses=frozenset(stored["own_addresses"]),
        clock_offset=_duration(stored["clock_offset_us"]),
        clock_uncertainty=_duration(stored["clock_uncertainty_us"]),
        time_zone=stored["time_zone"],
        filesystems=tuple(map(load_filesystem, stored.get("filesystems", ()))),
        filesystems_unseen=stored.get("filesystems_unseen", ""),
    )


def store_volume_facts(facts: VolumeFacts) -> Stored:
    """Return the stored form of what a volume showed (sizes in bytes)."""
    return {
        "path": facts.path,
        "filesystem_type": facts.filesystem_type,
        "filesystem_uuid": facts.filesystem_uuid,
        "mount_source": facts.mount_source,
        "mount_target": facts.mount_target,
        "fs_root": facts.fs_root,
        "device_number": facts.device_number,
        "drives": sorted(facts.drives),
        "backing_file": facts.backing_file,
        "on_root": facts.on_root,
        "read_only": facts.read_only,
        "rotational": facts.rotational,
        "capacity": facts.capacity,
        "free": facts.free,
        "inodes": facts.inodes,
        "inodes_free": facts.inodes_free,
    }


def load_volume_facts(device: str, volume: str, at: datetime, stored: Stored) -> VolumeFacts:
    """Return what a volume showed."""
    return VolumeFacts(
        volume=VolumeKey(device=DeviceId(device), volume=VolumeId(volume)),
        at=at,
        path=stored["path"],
        filesystem_type=stored["filesystem_type"],
        filesystem_uuid=stored["filesystem_uuid"],
        mount_source=stored["mount_source"],
        mount_target=stored["mount_target"],
        fs_root=stored["fs_root"],
        device_number=stored["device_number"],
        drives=frozenset(stored["drives"]),
        backing_file=stored["backing_file"],
        on_root=stored["on_root"],
        read_only=stored["read_only"],
        rotational=stored["rotational"],
        capacity=stored["capacity"],
        free=stored["free"],
        inodes=stored["inodes"],
        inodes_free=stored["inodes_free"],
    )


def store_points(points: PointList) -> Stored:
    """Return the stored form of a list of recovery points."""
    return {
        "points": [_store_point(point) for point in points.points],
        "refused": [list(pair) for pair in points.refused],
        "thin": [_store_point(point) for point in points.thin],
    }


def _store_point(point: RecoveryPoint) -> list[Any]:
    return [
        *(point.name, point.earliest.isoformat(), point.latest.isoformat(), point.assumed_zone),
        *(point.dated_by.value, point.size, point.identity, list(point.doubts)),
        *(point.sealed, point.generation),
    ]


def load_points(address: Address, at: datetime, stored: Stored) -> PointList:
    """Return a list of recovery points."""
    return PointList(
        address=address,
        at=at,
        points=tuple(_load_point(*point) for point in stored["points"]),
        refused=tuple((name, why) for name, why in stored["refused"]),
        thin=tuple(_load_point(*point) for point in stored.get("thin", ())),
    )


def _load_point(  # noqa: PLR0913, PLR0917 - the parts of a stored point in their order; the first four were all there was
    name: str,
    earliest: str,
    latest: str,
    zone: str | None,
    dated_by: str = DatedBy.NAME.value,
    size: int | None = None,
    identity: str | None = None,
    doubts: Sequence[str] = (),
    sealed: bool = False,  # noqa: FBT001, FBT002 - a part of a stored point
    generation: int | None = None,
) -> RecoveryPoint:
    return RecoveryPoint(
        name=name,
        earliest=datetime.fromisoformat(earliest),
        latest=datetime.fromisoformat(latest),
        assumed_zone=zone,
        dated_by=DatedBy(dated_by),
        size=size,
        identity=identity,
        doubts=tuple(doubts),
        sealed=sealed,
        generation=generation,
    )


def store_pins(facts: tuple[PinnedFact, ...]) -> list[list[str]]:
    """Return the stored form of pinned facts."""
    return [[fact.name, fact.value] for fact in facts]


def load_pins(stored: list[list[str]]) -> tuple[PinnedFact, ...]:
    """Return pinned facts."""
    return tuple(PinnedFact(name=name, value=value) for name, value in stored)


def store_tallies(by: Sequence[tuple[str, Tally]]) -> list[list[Any]]:
    """Return the stored form of figures by name: files and bytes."""
    return [[name, tally.files, tally.bytes] for name, tally in by]


def load_tallies(stored: list[list[Any]]) -> tuple[tuple[str, Tally], ...]:
    """Return figures by name."""
    return tuple((name, Tally(files=files, bytes=size)) for name, files, size in stored)


def _instant(value: datetime | None) -> str | None:
    return None if value is None else value.isoformat()


def _parsed(value: str | None) -> datetime | None:
    return None if value is None else datetime.fromisoformat(value)


def _microseconds(value: timedelta | None) -> int | None:
    return None if value is None else value // _MICROSECOND


def _duration(value: int | None) -> timedelta | None:
    return None if value is None else timedelta(microseconds=value)
