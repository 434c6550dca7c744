"""Sighting: all answers of one audit, looked up by place; what was asked and never answered is a gap."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address, Device, DeviceId, Estate, VolumeKey
from coverage_audit.evidence.collected import Answer, SeenTree
from coverage_audit.evidence.facts import (
    DeviceFacts,
    Gap,
    GapKind,
    IdentityCheck,
    PinState,
    PointList,
    VolumeFacts,
)
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.shelf import Attached
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.served_inside import served_inside
from coverage_audit.judgement.shelf import how_to_record


@dataclass(frozen=True, kw_only=True)
class Sighting:
    """What this audit saw, by device, volume and address. `at` stamps the gaps of what was not answered."""

    at: datetime
    devices: Mapping[DeviceId, DeviceFacts | Gap]
    volumes: Mapping[VolumeKey, VolumeFacts | Gap]
    identities: Mapping[VolumeKey, IdentityCheck | Gap]
    trees: Mapping[Address, SeenTree]
    newest_points: Mapping[Address, SeenTree]
    points: Mapping[Address, PointList | Gap]
    attached: Mapping[VolumeKey, Attached] = field(default_factory=dict)

    def place(self, estate: Estate, address: Address) -> PlaceEvidence:
        """Gather what is known of the volume on which an address lies."""
        device = estate.device(address.volume.device)
        absent = _absent(device, address, self.at)
        return PlaceEvidence(
            device=device,
            volume=estate.volume(address.volume),
            device_facts=self.devices.get(device.id, absent),
            volume_facts=self.volumes.get(address.volume, absent),
            identity=self.identities.get(address.volume, absent),
            attached=self.attached.get(address.volume),
        )

    def tree(self, estate: Estate, address: Address) -> Manifest | Gap:
        """Return the tree seen at an address, if the volume on which it lies is the one that was pinned."""
        seen = self.newest_points.get(address) if address.has_point else self.trees.get(address)
        if seen is None:
            return self._why_no_tree(estate, address)
        distrusted = _distrusted(self.identities.get(address.volume), address, self.at) or self.served(address)
        return distrusted or seen.outcome

    def served(self, address: Address) -> Gap | None:
        """Say that what lies at an address is another machine's (None: nothing shows that)."""
        box, volume = self.devices.get(address.volume.device), self.volumes.get(address.volume)
        if not isinstance(box, DeviceFacts) or not isinstance(volume, VolumeFacts):
            return None
        share = served_inside(box, volume, address)
        if share is None:
            return None
        detail = (
            f"{visible(share.source)} is mounted at {visible(share.target)}, inside of the volume, and lies on another "
            "machine: declare it there"
        )
        return Gap(subject=str(address), kind=GapKind.ANOTHER_VOLUME, detail=detail, at=self.at)

    def _why_no_tree(self, estate: Estate, address: Address) -> Gap:
        points = self.points.get(address)
        if isinstance(points, Gap):
            return points
        if points is not None and not points.points:
            return Gap(subject=str(address), kind=GapKind.MISSING, detail="there is no recovery point", at=self.at)
        device = estate.device(address.volume.device)
        check = self.identities.get(address.volume)
        if isinstance(device.access, ShelfAccess) and isinstance(check, Gap):
            return check
        return _absent(device, address, self.at)


def _absent(device: Device, address: Address, at: datetime) -> Gap:
    if isinstance(device.access, ShelfAccess):
        detail = f"nothing is recorded of it: plug it in and type `{how_to_record(address)}`"
        return Gap(subject=str(device.id), kind=GapKind.SHELF, detail=detail, at=at)
    return Gap(subject=str(device.id), kind=GapKind.UNREACHABLE, detail="no answer came in this audit", at=at)


def _distrusted(check: IdentityCheck | Gap | None, address: Address, at: datetime) -> Gap | None:
    """Say why what lies at an address may not be taken for what was declared (None: it may)."""
    if check is None:
        return Gap(subject=str(address), kind=GapKind.ANOTHER_VOLUME, detail="its volume was not shown", at=at)
    if isinstance(check, Gap):
        return check
    if check.trusted:
        return None
    kind = GapKind.ON_ROOT if check.state is PinState.ASKED else GapKind.ANOTHER_VOLUME
    return Gap(subject=str(address), kind=kind, detail="; ".join(check.differences), at=at)


def sight(
    answers: Iterable[Answer],
    identities: Mapping[VolumeKey, IdentityCheck | Gap],
    at: datetime,
    attached: Iterable[Attached] = (),
) -> Sighting:
    """Arrange the answers of one audit by place; `attached` are the shelf drives that are plugged in."""
    told = tuple(answers)
    trees = [tree for answer in told for tree in answer.trees]
    return Sighting(
        at=at,
        devices={answer.device.id: answer.facts for answer in told},
        volumes=volumes_of(told),
        identities=identities,
        trees={tree.address: tree for tree in trees if tree.point_of is None},
        newest_points={tree.point_of: tree for tree in trees if tree.point_of is not None},
        points={seen.address: seen.outcome for answer in told for seen in answer.points},
        attached={one.volume: one for one in attached},
    )


def volumes_of(answers: Iterable[Answer]) -> dict[VolumeKey, VolumeFacts | Gap]:
    """Arrange what the volumes showed; a gap of a volume names it as its subject."""
    found: dict[VolumeKey, VolumeFacts | Gap] = {}
    for answer in answers:
        gaps = {outcome.subject: outcome for outcome in answer.volumes if isinstance(outcome, Gap)}
        shown = {outcome.volume: outcome for outcome in answer.volumes if isinstance(outcome, VolumeFacts)}
        for volume in answer.device.volumes:
            outcome = shown.get(volume.key) or gaps.get(str(volume.key))
            if outcome is not None:
                found[volume.key] = outcome
    return found
