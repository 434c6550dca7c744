"""From the shapes, when nothing is wrong any more, to the frozen values that every other room sees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coverage_audit.estate.access import Access, DeclaredIdentity, LocalAccess, ShelfAccess, SshAccess
from coverage_audit.estate.building_criteria import build_policy
from coverage_audit.estate.hardware import Drive, Parity
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import (
    Attestation,
    Copy,
    Dataset,
    DatasetId,
    Device,
    DeviceId,
    Estate,
    Kept,
    NoticeTarget,
    NotKept,
    PolicyId,
    Schedule,
    Site,
    SiteId,
    Volume,
    VolumeId,
    VolumeKey,
)
from coverage_audit.estate.shape import (
    DeviceShape,
    EstateShape,
    IdentityShape,
    KeptShape,
    LimitsShape,
    NoticeShape,
    NotKeptShape,
    OwnLimitsShape,
    ScheduleShape,
    SshShape,
    VolumeShape,
)
from coverage_audit.estate.shape_of_datasets import BtrfsShape, CopyShape, DatasetShape, PointsShape
from coverage_audit.estate.shape_of_hardware import DriveShape
from coverage_audit.estate.sources import BtrfsPoints, CommandPoints, DatedFiles, DatedFolders, Points, ZfsPoints


def build_estate(shape: EstateShape, *, shipped: Limits, litter: tuple[str, ...], text: str, file: str = "") -> Estate:
    """Build the estate; `text` is `file` as it was read, `shipped` and `litter` hold where it gives none of its own."""
    return Estate(
        name=shape.estate,
        time_zone=shape.time_zone,
        sites=tuple(Site(id=SiteId(site), name=body.name or site) for site, body in shape.sites.items()),
        devices=tuple(_device(DeviceId(device), body) for device, body in shape.devices.items()),
        policies=tuple(build_policy(PolicyId(policy), body) for policy, body in shape.policies.items()),
        datasets=tuple(_dataset(DatasetId(dataset), body) for dataset, body in shape.datasets.items()),
        limits=_own_limits(shape.limits, shipped),
        schedule=_schedule(shape.schedule),
        notices=tuple(_notice(name, body) for name, body in shape.notices.items()),
        alive=_kept(shape.alive) if shape.alive is not None else None,
        metrics_file=shape.metrics_file,
        litter=litter if shape.litter is None else tuple(shape.litter),
        not_kept=tuple(_not_kept(body) for body in shape.not_kept),
        rehearsal=shape.rehearsal,
        text=text,
        file=file,
    )


def build_limits(shape: LimitsShape) -> Limits:
    """Build the limits out of the shipped file's shape."""
    return Limits(**{name: getattr(shape, name) for name in type(shape).model_fields})


def _own_limits(shape: OwnLimitsShape | None, shipped: Limits) -> Limits:
    if shape is None:
        return shipped
    return replace(shipped, **{name: getattr(shape, name) for name in shape.model_fields_set})


def _device(device: DeviceId, body: DeviceShape) -> Device:
    return Device(
        id=device,
        site=SiteId(body.site),
        access=_access(body.access),
        volumes=tuple(_volume(device, VolumeId(volume), part) for volume, part in body.volumes.items()),
        failure_domains=tuple(body.failure_domains.items()),
        in_service=body.in_service,
        formerly=tuple(DeviceId(former) for former in body.formerly),
        may_be_off=body.may_be_off,
        runs_on=DeviceId(body.runs_on) if body.runs_on is not None else None,
        attested_apart=_attestations(body.attested_apart),
        time_zone=body.time_zone,
        link=body.link,
        fetch_time=body.fetch_time,
    )


def _attestations(declared: Mapping[str, str]) -> tuple[Attestation, ...]:
    return tuple(Attestation(other=DeviceId(other), statement=said) for other, said in declared.items())


def _access(access: str | SshShape) -> Access:
    if isinstance(access, str):
        return LocalAccess() if access == "local" else ShelfAccess()
    return SshAccess(
        host=access.ssh.host,
        user=access.ssh.user,
        port=access.ssh.port,
        identity_file=access.identity_file,
        known_hosts=access.known_hosts,
        config_file=access.config_file,
        time_limit=access.time_limit,
    )


def _volume(device: DeviceId, volume: VolumeId, body: VolumeShape) -> Volume:
    return Volume(
        key=VolumeKey(device=device, volume=volume),
        path=body.path or "",
        medium=body.medium,
        offline=body.offline,
        immutable=body.immutable,
        on_root=body.on_root,
        stored_on=body.stored_on,
        identity=_identity(body.identity) if body.identity is not None else None,
        drives=tuple(_drive(drive) for drive in body.drives for _ in range(drive.count)),
        parity=Parity(kind=body.parity.kind, drives=body.parity.drives) if body.parity is not None else None,
        encrypted=body.encrypted,
        key_kept=tuple(body.key_kept),
    )


def _drive(body: DriveShape) -> Drive:
    return Drive(size=body.size, in_service=body.in_service)


def _identity(shape: IdentityShape) -> DeclaredIdentity:
    return DeclaredIdentity(
        filesystem_uuid=shape.filesystem_uuid,
        filesystem_type=shape.filesystem_type,
        mount_source=shape.mount_source,
        mount_target=shape.mount_target,
        drive_serials=frozenset(shape.drive_serials) if shape.drive_serials is not None else None,
        machine_id=shape.machine_id,
        host_key=shape.host_key,
    )


def _dataset(dataset: DatasetId, body: DatasetShape) -> Dataset:
    return Dataset(
        id=dataset,
        policy=PolicyId(body.policy),
        original=body.original,
        copies=tuple(_copy(copy) for copy in body.copies),
        leave_out=tuple(body.leave_out),
        formerly=tuple(DatasetId(former) for former in body.formerly),
        moved_from=tuple(body.moved_from),
    )


def _copy(body: CopyShape) -> Copy:
    return Copy(
        address=body.at,
        points=_points(body.points) if body.points is not None else None,
        max_age=body.max_age,
        proof=body.proof,
        leave_out=tuple(body.leave_out),
        moved_from=tuple(body.moved_from),
        taken_from=body.taken_from,
        encrypted=body.encrypted,
        key_kept=tuple(body.key_kept),
    )


def _points(body: str | PointsShape) -> Points:
    if isinstance(body, str):
        return DatedFolders() if body == "folders" else DatedFiles()
    if body.command is not None:
        return CommandPoints(arguments=tuple(body.command), json=body.json_, lines=body.lines)
    if body.zfs is not None:
        return ZfsPoints(dataset=body.zfs)
    if body.btrfs is not None:
        return BtrfsPoints(snapshot_of=body.btrfs.snapshot_of if isinstance(body.btrfs, BtrfsShape) else None)
    return DatedFiles(pattern=body.files) if body.files is not None else DatedFolders(pattern=body.folders)


def _not_kept(body: NotKeptShape) -> NotKept:
    return NotKept(volume=body.on, names=tuple(body.names), who=body.who, why=body.why)


def _schedule(shape: ScheduleShape | None) -> Schedule:
    return Schedule() if shape is None else Schedule(audit=shape.audit, summary=shape.summary)


def _notice(name: str, body: NoticeShape) -> NoticeTarget:
    return NoticeTarget(
        name=name,
        send=frozenset(body.send),
        url_file=body.url_file,
        url_env=body.url_env,
        url_credential=body.credential,
        quiet=body.quiet,
        policies=frozenset(map(PolicyId, body.policies)) if body.policies is not None else None,
    )


def _kept(body: KeptShape) -> Kept:
    return Kept(url_file=body.url_file, url_env=body.url_env, url_credential=body.credential)
