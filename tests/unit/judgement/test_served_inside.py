"""A share that is mounted inside of a volume is none of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.evidence.facts import DeviceFacts, MountedFilesystem
from coverage_audit.judgement.served_inside import served_inside
from tests.builders.cases import device_facts, volume_facts
from tests.builders.station import HERON, an_address

VOLUME = volume_facts(HERON.volumes[0])


def box(*mounts: tuple[str, bool]) -> DeviceFacts:
    found = tuple(
        MountedFilesystem(source=f"source of {target}", target=target, filesystem_type="nfs4", is_network=network)
        for target, network in mounts
    )
    facts = device_facts("heron")
    assert isinstance(facts, DeviceFacts)
    return replace(facts, filesystems=found)


@pytest.mark.parametrize(
    ("mounts", "served"),
    [
        ([("/", False), (VOLUME.path, False)], False),
        ([(VOLUME.path, True)], False),  # the volume itself is a share, and is judged as one
        ([("/", True)], False),
        ([(f"{VOLUME.path}/mirror", True)], True),
        ([(f"{VOLUME.path}/mirror/recordings", True)], True),
        ([(f"{VOLUME.path}/mirror/recordings/2026", True)], False),  # below the tree: the walk ends there and says so
        ([(f"{VOLUME.path}/mirrors", True)], False),
        ([(f"{VOLUME.path}/mirror", True), (f"{VOLUME.path}/mirror/recordings", False)], False),
        ([(f"{VOLUME.path}/mirror", False), (f"{VOLUME.path}/mirror/recordings", True)], True),
    ],
)
def test_the_deepest_mount_above_the_tree_decides(mounts: list[tuple[str, bool]], *, served: bool) -> None:
    found = served_inside(box(*mounts), VOLUME, an_address("heron:pool/mirror/recordings"))
    assert (found is not None) is served


def test_a_share_above_the_folder_of_the_points_holds_them_all() -> None:
    address = an_address("heron:pool/.points/{point}/recordings")
    assert served_inside(box((f"{VOLUME.path}/.points", True)), VOLUME, address) is not None
