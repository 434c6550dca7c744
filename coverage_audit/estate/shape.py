"""The shape of `estate.yaml`: which keys there are, and what each may hold.

The JSON Schema is made of these models. They check one value at a time; what must fit together across the file is
in `relations.py`, `places.py` and `lineage.py`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Discriminator, Field, Tag

from coverage_audit.estate.leaves import (
    AccessWord,
    BitRate,
    ByteRate,
    Clock,
    CredentialName,
    Day,
    Duration,
    EnvName,
    HostKey,
    IdText,
    KindWord,
    Line,
    MediumWord,
    OwnPath,
    Pattern,
    ProofWord,
    QuietHours,
    Reference,
    SecretFile,
    Share,
    Size,
    SshText,
    Tolerance,
    VolumePath,
    VolumeText,
    WeekdayClock,
    Zone,
)
from coverage_audit.estate.shape_of_criteria import DrillShape, KeepShape, RhythmText, VerifyShape
from coverage_audit.estate.shape_of_datasets import DatasetShape
from coverage_audit.estate.shape_of_hardware import DriveShape, ParityShape
from coverage_audit.estate.strict import Strict

Count = Annotated[int, Field(ge=0, le=1000)]
Some = Annotated[int, Field(ge=1, le=1000)]


class SiteShape(Strict):
    """A place that one fire, flood or theft can take whole."""

    name: Line | None = None


class SshShape(Strict):
    """A device that is reached over SSH."""

    ssh: SshText
    identity_file: OwnPath | None = None
    known_hosts: OwnPath | None = None
    config_file: OwnPath | None = None
    time_limit: Duration | None = None


class IdentityShape(Strict):
    """What a volume must show, pinned by hand."""

    filesystem_uuid: Line | None = None
    filesystem_type: Line | None = None
    mount_source: Line | None = None
    mount_target: Line | None = None
    drive_serials: Annotated[list[Line], Field(min_length=1)] | None = None
    machine_id: Line | None = None
    host_key: HostKey | None = None


class VolumeShape(Strict):
    """A filesystem or pool on a device."""

    path: VolumePath | None = None
    medium: MediumWord
    offline: bool = False
    immutable: bool = False
    on_root: bool = False
    stored_on: VolumeText | None = None
    identity: IdentityShape | None = None
    drives: list[DriveShape] = []
    parity: ParityShape | None = None
    encrypted: bool = False
    key_kept: list[Reference] = []


def _kind_of_access(value: object) -> str:
    return "(ssh)" if isinstance(value, dict | SshShape) else "(word)"


class DeviceShape(Strict):
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
    link: BitRate | None = None
    fetch_time: Duration | None = None


class PolicyShape(Strict):
    """The audit criteria. Those in `UNJUDGED` are understood, and not judged by this version."""

    copies: Some
    max_age: Duration
    media: Some | None = None
    offsite: Count | None = None
    offline: Count | None = None
    proof: ProofWord | None = None
    headroom: Duration | None = None
    immutable: Some | None = None
    keep: KeepShape | None = None
    rhythm: RhythmText | None = None
    verify: VerifyShape | None = None
    drill: DrillShape | None = None
    shrinkage: Share | None = None
    dump_size: Share | None = None
    restore_within: Duration | None = None


UNJUDGED: tuple[str, ...] = ()
"""The criteria of a policy that this version cannot judge: each becomes a finding."""


class NotKeptShape(Strict):
    """What on a volume need not be kept, by whose word and why."""

    on: VolumeText
    names: Annotated[list[Pattern], Field(min_length=1)]
    who: Line
    why: Line


class ScheduleShape(Strict):
    """When the daemon works, in the estate's zone."""

    audit: Clock | None = None
    summary: WeekdayClock | None = None


class KeptShape(Strict):
    """Where an address is kept: exactly one of these."""

    url_file: SecretFile | None = None
    url_env: EnvName | None = None
    credential: CredentialName | None = None


class NoticeShape(KeptShape):
    """Where notices go: exactly one of the first three says where the address is kept."""

    send: Annotated[list[KindWord], Field(min_length=1)]
    quiet: QuietHours | None = None
    policies: Annotated[list[Reference], Field(min_length=1)] | None = None


class LitterShape(Strict):
    """The names that every dataset leaves out, where the estate gives none of its own."""

    litter: list[Pattern]


class LimitsShape(Strict):
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
    content_time: Duration
    content_rate: ByteRate


class OwnLimitsShape(Strict):
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
    content_time: Duration | None = None
    content_rate: ByteRate | None = None


class EstateShape(Strict):
    """All that is declared."""

    estate: Line
    time_zone: Zone
    sites: Annotated[dict[IdText, SiteShape], Field(min_length=1)]
    devices: Annotated[dict[IdText, DeviceShape], Field(min_length=1)]
    policies: Annotated[dict[IdText, PolicyShape], Field(min_length=1)]
    datasets: Annotated[dict[IdText, DatasetShape], Field(min_length=1)]
    schedule: ScheduleShape | None = None
    notices: dict[IdText, NoticeShape] = {}
    alive: KeptShape | None = None
    metrics_file: OwnPath | None = None
    limits: OwnLimitsShape | None = None
    litter: list[Pattern] | None = None
    not_kept: list[NotKeptShape] = []
    rehearsal: bool = False
