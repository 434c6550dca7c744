"""The shape of `estate.yaml`: which keys there are, and what each may hold.

The JSON Schema is made of these models. They check one value at a time; what must fit together across the file is
in `relations.py`, `places.py` and `lineage.py`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag, model_validator

from coverage_audit.estate.leaves import (
    AccessWord,
    AddressText,
    Argument,
    Clock,
    CredentialName,
    Criterion,
    Day,
    Duration,
    EnvName,
    HostKey,
    IdText,
    InnerPath,
    KindWord,
    Line,
    LinePattern,
    MediumWord,
    OwnPath,
    Pattern,
    PointPattern,
    PointsWord,
    ProofWord,
    ReceivedWord,
    Reference,
    SecretFile,
    Selection,
    Size,
    SshText,
    Tolerance,
    VolumePath,
    VolumeText,
    WeekdayClock,
    ZfsName,
    Zone,
)

Count = Annotated[int, Field(ge=0, le=1000)]
Some = Annotated[int, Field(ge=1, le=1000)]


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class SiteShape(_Shape):
    """A place that one fire, flood or theft can take whole."""

    name: Line | None = None


class SshShape(_Shape):
    """A device that is reached over SSH."""

    ssh: SshText
    identity_file: OwnPath | None = None
    known_hosts: OwnPath | None = None
    config_file: OwnPath | None = None
    time_limit: Duration | None = None


class IdentityShape(_Shape):
    """What a volume must show, pinned by hand."""

    filesystem_uuid: Line | None = None
    filesystem_type: Line | None = None
    mount_source: Line | None = None
    mount_target: Line | None = None
    drive_serials: Annotated[list[Line], Field(min_length=1)] | None = None
    machine_id: Line | None = None
    host_key: HostKey | None = None


class VolumeShape(_Shape):
    """A filesystem or pool on a device."""

    path: VolumePath | None = None
    medium: MediumWord
    offline: bool = False
    immutable: bool = False
    on_root: bool = False
    stored_on: VolumeText | None = None
    identity: IdentityShape | None = None


def _kind_of_access(value: object) -> str:
    return "(ssh)" if isinstance(value, dict | SshShape) else "(word)"


class DeviceShape(_Shape):
    """A box or a loose drive."""

    site: Reference
    access: Annotated[
        Annotated[AccessWord, Tag("(word)")] | Annotated[SshShape, Tag("(ssh)")], Discriminator(_kind_of_access)
    ]
    volumes: Annotated[dict[IdText, VolumeShape], Field(min_length=1)]
    failure_domains: dict[IdText, Line] = {}
    in_service: Day | None = None
    formerly: list[IdText] = []
    may_be_off: Duration | None = None
    runs_on: Reference | None = None
    attested_apart: dict[Reference, Line] = {}
    time_zone: Zone | None = None


class PolicyShape(_Shape):
    """The audit criteria. Those below `proof` are understood, and not judged by this version."""

    copies: Some
    max_age: Duration
    media: Some | None = None
    offsite: Count | None = None
    offline: Count | None = None
    proof: ProofWord | None = None
    immutable: Criterion | None = None
    keep: Criterion | None = None
    rhythm: Criterion | None = None
    verify: Criterion | None = None
    drill: Criterion | None = None
    headroom: Criterion | None = None
    shrinkage: Criterion | None = None
    dump_size: Criterion | None = None
    restore_within: Criterion | None = None


UNJUDGED = ("immutable", "keep", "rhythm", "verify", "drill", "headroom", "shrinkage", "dump_size", "restore_within")
"""The criteria of a policy that this version cannot judge: each becomes a finding."""


class BtrfsShape(_Shape):
    """Which subvolume the snapshots must be of."""

    snapshot_of: InnerPath


def _kind_of_btrfs(value: object) -> str:
    return "(snapshots)" if isinstance(value, dict | BtrfsShape) else "(received)"


class PointsShape(_Shape):
    """Where the recovery points of a copy are told: exactly one of the first five."""

    folders: PointPattern | None = None
    files: PointPattern | None = None
    btrfs: (
        Annotated[
            Annotated[ReceivedWord, Tag("(received)")] | Annotated[BtrfsShape, Tag("(snapshots)")],
            Discriminator(_kind_of_btrfs),
        ]
        | None
    ) = None
    zfs: ZfsName | None = None
    command: Annotated[list[Argument], Field(min_length=1, max_length=32)] | None = None
    json_: Annotated[Selection | None, Field(alias="json")] = None
    lines: LinePattern | None = None

    @model_validator(mode="after")
    def one_source(self) -> PointsShape:
        """Refuse two sources of points, and a command without a way to read what it prints."""
        given = [name for name in SOURCES_OF_POINTS if getattr(self, name) is not None]
        if len(given) != 1:
            said = f"{' and '.join(given)} are two sources" if given else "no source of points is given"
            raise ValueError(f"{said} (give one of {', '.join(SOURCES_OF_POINTS)})")
        ways = [name for name, way in (("json", self.json_), ("lines", self.lines)) if way is not None]
        if self.command is not None and len(ways) != 1:
            raise ValueError("a command's points are read in one way (give either 'json' or 'lines')")
        if self.command is None and ways:
            raise ValueError(f"'{ways[0]}' reads what a command prints (give 'command' too, or remove it)")
        return self


SOURCES_OF_POINTS = ("folders", "files", "btrfs", "zfs", "command")
"""The ways in which the recovery points of a copy can be told."""


def _kind_of_points(value: object) -> str:
    return "(source)" if isinstance(value, dict | PointsShape) else "(named)"


class CopyShape(_Shape):
    """Another place that should hold the dataset."""

    at: AddressText
    points: (
        Annotated[
            Annotated[PointsWord, Tag("(named)")] | Annotated[PointsShape, Tag("(source)")],
            Discriminator(_kind_of_points),
        ]
        | None
    ) = None
    max_age: Duration | None = None
    proof: ProofWord | None = None
    leave_out: list[Pattern] = []
    moved_from: list[AddressText] = []


class DatasetShape(_Shape):
    """A named body of data with one original location and a policy."""

    policy: Reference
    original: AddressText
    copies: list[CopyShape] = []
    leave_out: list[Pattern] = []
    formerly: list[IdText] = []
    moved_from: list[AddressText] = []


class NotKeptShape(_Shape):
    """What on a volume need not be kept, by whose word and why."""

    on: VolumeText
    names: Annotated[list[Pattern], Field(min_length=1)]
    who: Line
    why: Line


class ScheduleShape(_Shape):
    """When the daemon works, in the estate's zone."""

    audit: Clock | None = None
    summary: WeekdayClock | None = None


class NoticeShape(_Shape):
    """Where notices go: exactly one of the first three says where the address is kept."""

    url_file: SecretFile | None = None
    url_env: EnvName | None = None
    credential: CredentialName | None = None
    send: Annotated[list[KindWord], Field(min_length=1)]


class LitterShape(_Shape):
    """The names that every dataset leaves out, where the estate gives none of its own."""

    litter: list[Pattern]


class LimitsShape(_Shape):
    """What an audit may use."""

    memory: Size
    device_time: Duration
    read_time: Duration
    connect_time: Duration
    login_time: Duration
    channels: Annotated[int, Field(ge=1, le=10)]
    devices_at_once: Annotated[int, Field(ge=1, le=64)]
    walkers: Annotated[int, Field(ge=1, le=64)]
    clock_tolerance: Tolerance
    undeclared_above: Size
    survey_every: Duration
    survey_depth: Annotated[int, Field(ge=1, le=32)]
    attached_grace: Duration


class OwnLimitsShape(_Shape):
    """What an audit may use, where it differs from what ships."""

    memory: Size | None = None
    device_time: Duration | None = None
    read_time: Duration | None = None
    connect_time: Duration | None = None
    login_time: Duration | None = None
    channels: Annotated[int, Field(ge=1, le=10)] | None = None
    devices_at_once: Annotated[int, Field(ge=1, le=64)] | None = None
    walkers: Annotated[int, Field(ge=1, le=64)] | None = None
    clock_tolerance: Tolerance | None = None
    undeclared_above: Size | None = None
    survey_every: Duration | None = None
    survey_depth: Annotated[int, Field(ge=1, le=32)] | None = None
    attached_grace: Duration | None = None


class EstateShape(_Shape):
    """All that is declared."""

    estate: Line
    time_zone: Zone
    sites: Annotated[dict[IdText, SiteShape], Field(min_length=1)]
    devices: Annotated[dict[IdText, DeviceShape], Field(min_length=1)]
    policies: Annotated[dict[IdText, PolicyShape], Field(min_length=1)]
    datasets: Annotated[dict[IdText, DatasetShape], Field(min_length=1)]
    schedule: ScheduleShape | None = None
    notices: dict[IdText, NoticeShape] = {}
    limits: OwnLimitsShape | None = None
    litter: list[Pattern] | None = None
    not_kept: list[NotKeptShape] = []
    rehearsal: bool = False
