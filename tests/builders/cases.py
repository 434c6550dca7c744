"""Cases for the judgement: a field station where all is well, and the ways in which it can be spoilt.

Recordings lie on kestrel (hdd, station), with copies on heron (hdd, station) and curlew (ssd, barn): three places on
two media with one offsite, each seen in the audit, shown apart, complete and fresh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from coverage_audit.estate.model import Address, Copy, Device, DeviceId, Estate, Medium, Volume
from coverage_audit.estate.sources import DatedFolders
from coverage_audit.evidence.difference import CopyComparison, Mode, Tally
from coverage_audit.evidence.facts import (
    DeviceFacts,
    Gap,
    GapKind,
    IdentityCheck,
    PinState,
    PointList,
    RecoveryPoint,
    VolumeFacts,
)
from coverage_audit.evidence.manifest import Census, CompleteManifest, Origin
from coverage_audit.judgement.case import CopyEvidence, DatasetCase, OriginalEvidence, PlaceEvidence
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import JudgedCopy, JudgedDataset, JudgedEstate
from tests.builders.station import (
    CURLEW,
    FINISHED,
    HELD,
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    SEEN,
    STARTED,
    an_address,
    an_estate,
)


def a_gap(subject: str = "heron", kind: GapKind = GapKind.UNREACHABLE, detail: str = "no route to host") -> Gap:
    """Something that was not seen."""
    return Gap(subject=subject, kind=kind, detail=detail, at=SEEN)


def device_facts(name: str, **values: Any) -> DeviceFacts:
    """What a physical box shows of itself, all of it its own."""
    wanted: dict[str, Any] = {
        "device": DeviceId(name),
        "at": SEEN,
        "over": "ssh",
        "machine_id": f"machine-{name}",
        "boot_id": f"boot-{name}",
        "host_key": f"SHA256:{name}",
        "is_guest": False,
        "own_addresses": frozenset({f"{name}.example"}),
        "clock_offset": timedelta(0),
        "clock_uncertainty": timedelta(milliseconds=5),
    }
    return DeviceFacts(**{**wanted, **values})


def volume_facts(volume: Volume, **values: Any) -> VolumeFacts:
    """What a mounted volume shows of itself, all of it its own."""
    key = volume.key
    wanted: dict[str, Any] = {
        "at": SEEN,
        "path": volume.path,
        "filesystem_type": "ext4",
        "filesystem_uuid": f"uuid-{key}",
        "mount_source": "/dev/sda1",
        "mount_target": volume.path,
        "fs_root": "/",
        "drives": frozenset({f"serial-{key}"}),
        "on_root": False,
        "rotational": volume.medium is Medium.HDD,
    }
    return VolumeFacts(volume=key, **{**wanted, **values})


def an_identity(volume: Volume, state: PinState = PinState.AS_PINNED, *differences: str) -> IdentityCheck:
    """A volume that is as pinned, unless said otherwise."""
    return IdentityCheck(volume=volume.key, state=state, differences=differences)


def a_place(device: Device, **values: Any) -> PlaceEvidence:
    """The first volume of a device, showing all that it can."""
    volume = device.volumes[0]
    wanted: dict[str, Any] = {
        "device_facts": device_facts(device.id),
        "volume_facts": volume_facts(volume),
        "identity": an_identity(volume),
    }
    return PlaceEvidence(device=device, volume=volume, **{**wanted, **values})


def a_manifest(
    address: Address, *, files: int = HELD.files, size: int = HELD.bytes, at: datetime = SEEN
) -> CompleteManifest:
    """A complete listing; the judgement never opens its file."""
    origin = Origin(address=address, root="/srv", how="gnu find", started=at, finished=at, clock_offset=timedelta(0))
    return CompleteManifest(
        file=Path("unopened.parquet"),
        origin=origin,
        census=Census(entries=files, files=files, bytes=size, granularity_ns=1),
    )


def an_original(device: Device = KESTREL, **values: Any) -> OriginalEvidence:
    """An original seen whole in this audit, as large as it was before."""
    wanted: dict[str, Any] = {
        "place": a_place(device),
        "tree": a_manifest(RECORDINGS.original),
        "before": HELD,
    }
    return OriginalEvidence(**{**wanted, **values})


def a_comparison(**values: Any) -> CopyComparison:
    """A comparison that finds everything held."""
    wanted: dict[str, Any] = {
        "original_at": SEEN,
        "copy_at": SEEN,
        "mode": Mode(granularity_ns=1),
        "original": HELD,
        "same": HELD,
        "missing": Tally(),
        "changed": Tally(),
        "extra": Tally(),
        "left_out": Tally(),
    }
    return CopyComparison(**{**wanted, **values})


def lacking(files: int, size: int = 0, **values: Any) -> CopyComparison:
    """A comparison that finds some files missing, none of them excused unless said so."""
    gone = Tally(files=files, bytes=size)
    wanted: dict[str, Any] = {
        "missing": gone,
        "same": Tally(files=HELD.files - files, bytes=HELD.bytes - size),
        "earliest_start": STARTED - timedelta(days=11),
        "earliest_start_trimmed": STARTED - timedelta(days=11),
    }
    return a_comparison(**{**wanted, **values})


def a_copy(device: Device, copy: Copy, **values: Any) -> CopyEvidence:
    """A copy seen and compared in this audit."""
    wanted: dict[str, Any] = {"place": a_place(device), "comparison": a_comparison(), "tree_at": SEEN}
    return CopyEvidence(copy=copy, **{**wanted, **values})


def a_point(name: str, at: datetime, **values: Any) -> RecoveryPoint:
    """A recovery point that means one instant."""
    return RecoveryPoint(name=name, **{"earliest": at, "latest": at, **values})


def a_dated_copy(device: Device, *points: RecoveryPoint, copy: Copy | None = None, **values: Any) -> CopyEvidence:
    """A copy of dated folders whose newest point was compared."""
    text = f"{device.volumes[0].key}/.points/{{point}}/recordings"
    declared = copy or Copy(address=an_address(text), points=DatedFolders(pattern="%Y-%m-%d"))
    listed = PointList(address=declared.address, at=SEEN, points=points)
    wanted: dict[str, Any] = {"points": listed, "point": points[-1] if points else None}
    return a_copy(device, declared, **{**wanted, **values})


def a_case(*copies: CopyEvidence, **values: Any) -> DatasetCase:
    """The recordings with the copies on heron and curlew, all well, unless said otherwise."""
    wanted: dict[str, Any] = {"dataset": RECORDINGS, "policy": POLICY, "original": an_original()}
    seen = copies or (a_copy(HERON, RECORDINGS.copies[0]), a_copy(CURLEW, RECORDINGS.copies[1]))
    case = DatasetCase(copies=seen, **{**wanted, **values})
    declared = tuple(evidence.copy for evidence in seen)
    return replace(case, dataset=replace(case.dataset, copies=declared))


def judged(case: DatasetCase, estate: Estate | None = None, **values: Any) -> JudgedEstate:
    """Judge one case as a whole audit; the estate follows the case unless given."""
    places = [case.original.place, *(copy.place for copy in case.copies)]
    devices = tuple({place.device.id: place.device for place in places}.values())
    found = estate or an_estate(*devices)
    found = replace(found, datasets=(case.dataset,), policies=(case.policy,))
    wanted: dict[str, Any] = {"identities": (), "gaps": (), "started": STARTED, "finished": FINISHED}
    return judge(found, [case], **{**wanted, **values})


def judged_dataset(case: DatasetCase, estate: Estate | None = None) -> JudgedDataset:
    """Judge one case and return its dataset."""
    return judged(case, estate).datasets[0]


def judged_copy(evidence: CopyEvidence, estate: Estate | None = None, **values: Any) -> JudgedCopy:
    """Judge one copy of the recordings by itself."""
    return judged_dataset(a_case(evidence, **values), estate).copies[0]


def failing(dataset: JudgedDataset) -> Sequence[str]:
    """Return the rules that found a nonconformity or something unverified, each once."""
    return sorted({f"{f.rule} {f.answer}" for f in dataset.findings if f.answer in {"nonconformity", "unverified"}})
