"""What counts as a copy that cannot be changed from where its original is worked on, and what only says so."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Copy, Device, Medium
from coverage_audit.estate.sources import BtrfsPoints
from coverage_audit.evidence.facts import MountedFilesystem
from coverage_audit.evidence.points_past import PointsPast
from coverage_audit.evidence.shelf import Attached
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import (
    a_case,
    a_copy,
    a_dated_copy,
    a_gap,
    a_place,
    a_point,
    an_original,
    device_facts,
    judged_dataset,
    volume_facts,
)
from tests.builders.station import (
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    STARTED,
    a_device,
    a_volume,
    an_address,
    an_estate,
)

NEAR, FAR = RECORDINGS.copies
SNAPSHOTS = Copy(address=an_address("heron:pool/.snapshots/{point}"), points=BtrfsPoints())
ASKED = replace(POLICY, copies=1, media=None, offsite=None, immutable=1, offline=0)


def asked(*copies: CopyEvidence, **values: Any) -> DatasetCase:
    return a_case(*copies, policy=ASKED, **values)


def finding(case: DatasetCase, rule: str = "immutable", *, rehearsal: bool = False) -> Finding:
    devices = {copy.place.device.id: copy.place.device for copy in case.copies}
    estate = an_estate(KESTREL, *devices.values(), rehearsal=rehearsal)
    (found,) = [f for f in judged_dataset(case, estate).findings if f.rule == rule]
    return found


def snapshots(device: Device = HERON, *, rewritten: bool = False, known: bool = True, **values: Any) -> CopyEvidence:
    point = a_point("2026-11-25", STARTED, sealed=True, generation=40, identity="btrfs 17")
    since = STARTED - timedelta(days=9)
    past = PointsPast(since=since, oldest=since, rewritten=("btrfs 17",) if rewritten else ())
    given: dict[str, Any] = {"past": past if known else None, **values}
    return a_dated_copy(device, point, copy=SNAPSHOTS, **given)


def mirror(volume: dict[str, Any] | None = None, facts: dict[str, Any] | None = None) -> CopyEvidence:
    heron = a_device("heron", a_volume("heron:pool", **(volume or {})))
    return a_copy(heron, NEAR, place=a_place(heron, volume_facts=volume_facts(heron.volumes[0], **(facts or {}))))


def mounting(source: str, **values: Any) -> dict[str, Any]:
    """The original on a kestrel that has a network mount."""
    mount = MountedFilesystem(
        source=source,
        target="/mnt/pool",
        **{"filesystem_type": "nfs4", "is_network": True, "read_only": False, **values},
    )
    return {"original": an_original(place=a_place(KESTREL, device_facts=device_facts("kestrel", filesystems=(mount,))))}


def test_a_read_only_snapshot_on_another_machine_is_shown_to_be_unchangeable() -> None:
    found = finding(asked(snapshots()))

    assert found.answer is Answer.CONFORMITY
    assert "its recovery point “2026-11-25” is a read-only snapshot" in found.message


@pytest.mark.parametrize("case", [snapshots(rewritten=True), snapshots(known=False)])
def test_a_snapshot_that_was_written_to_since_it_was_listed_shows_nothing(case: CopyEvidence) -> None:
    found = finding(asked(case))

    assert found.answer is Answer.UNVERIFIED
    assert "was never changed is not shown" in found.message


def test_a_snapshot_that_was_written_to_is_observed_whatever_the_policy_asks() -> None:
    case = a_case(snapshots(rewritten=True))

    found = finding(case, "within-reach")

    assert found.answer is Answer.OBSERVATION
    assert "“2026-11-25” was changed after it was first listed" in found.message


def test_a_snapshot_on_the_originals_own_machine_can_be_deleted_from_there() -> None:
    kestrels = replace(SNAPSHOTS, address=an_address("kestrel:main/.snapshots/{point}"))
    case = asked(replace(snapshots(KESTREL), copy=kestrels))

    found = finding(case)

    assert found.answer is Answer.NONCONFORMITY
    assert "it lies on the original's own machine" in found.message


def test_a_machine_that_does_not_show_who_it_is_may_be_the_originals_own() -> None:
    silent = a_place(HERON, device_facts=device_facts("heron", machine_id=None))

    assert finding(asked(snapshots(place=silent))).answer is Answer.UNVERIFIED


def test_a_mirror_on_a_volume_that_can_be_written_is_not_immutable() -> None:
    found = finding(asked(mirror(facts={"read_only": False})))

    assert found.answer is Answer.NONCONFORMITY
    assert "heron:pool/mirror/recordings can be changed: heron:pool is mounted read-write" in found.message


@pytest.mark.parametrize("medium", [Medium.OPTICAL, Medium.HDD])
def test_a_volume_that_its_machine_has_mounted_read_only_is_shown(medium: Medium) -> None:
    other = MountedFilesystem(source="/dev/sdb1", target="/srv/rw", filesystem_type="ext4", uuid="u", read_only=False)
    volume = a_volume("heron:pool", medium=medium)
    heron = a_device("heron", volume)
    place = a_place(
        heron,
        device_facts=device_facts("heron", filesystems=(other,)),
        volume_facts=volume_facts(volume, read_only=True, device_number="8:1"),
    )

    assert finding(asked(a_copy(heron, NEAR, place=place))).answer is Answer.CONFORMITY


@pytest.mark.parametrize(
    ("volume", "facts", "words"),
    [
        ({"immutable": True}, {"read_only": False}, "is declared immutable and shows itself mounted read-write"),
        ({"immutable": True}, {}, "is declared immutable, and shows nothing that bears it out"),
        ({"medium": Medium.OPTICAL}, {}, "is declared optical, and shows nothing"),
        ({"immutable": True}, {"read_only": True, "filesystem_type": "nfs4"}, "is declared immutable, and shows"),
        ({}, {"read_only": True, "at": STARTED - timedelta(days=1)}, "was read-only when it was last seen"),
        ({}, {}, "whether heron:pool can be written is not shown"),
    ],
)
def test_what_is_only_declared_or_not_shown_stays_unverified(
    volume: dict[str, Any], facts: dict[str, Any], words: str
) -> None:
    found = finding(asked(mirror(volume, facts)))

    assert found.answer is Answer.UNVERIFIED
    assert words in found.message
    assert found.measured == "0 (up to 1) immutable"


@pytest.mark.parametrize(
    "by", [{"device_number": "8:1"}, {"device_number": "0:44", "uuid": "uuid-heron:pool"}, {"source": "/dev/sdc1"}]
)
def test_a_read_only_mount_shows_nothing_where_the_same_filesystem_can_be_written_beside_it(by: dict[str, str]) -> None:
    """Of one filesystem subvolumes show device numbers of their own: its UUID and its source tell, too."""
    shown: dict[str, Any] = {"source": "/dev/sdb1", **by}
    twin = MountedFilesystem(target="/srv/rw", filesystem_type="btrfs", read_only=False, **shown)
    seen = volume_facts(HERON.volumes[0], read_only=True, device_number="8:1", mount_source="/dev/sdc1")
    place = a_place(HERON, device_facts=device_facts("heron", filesystems=(twin,)), volume_facts=seen)

    found = finding(asked(a_copy(HERON, NEAR, place=place)))

    assert found.answer is Answer.UNVERIFIED
    assert "read-write at /srv/rw" in found.message


def test_a_drive_on_the_shelf_counts_and_one_that_stays_plugged_in_does_not() -> None:
    drive = a_device("shelf-b", a_volume("shelf-b:drive", offline=True), access=ShelfAccess())
    declared = replace(FAR, address=an_address("shelf-b:drive/recordings"))
    on_shelf = a_copy(drive, declared, place=a_place(drive, device_facts=a_gap("shelf-b")))
    hanging = Attached(volume=drive.volumes[0].key, host=KESTREL.id, since=STARTED - timedelta(days=9), last=STARTED)
    attached = replace(on_shelf, place=replace(on_shelf.place, attached=hanging))

    assert finding(asked(on_shelf)).answer is Answer.CONFORMITY
    found = finding(asked(attached))
    assert found.answer is Answer.NONCONFORMITY
    assert "has been attached to kestrel since" in found.message


def test_in_a_rehearsal_what_is_declared_is_taken_as_it_is_declared() -> None:
    case = asked(mirror({"immutable": True}, {"read_only": False}))

    assert finding(case, rehearsal=True).answer is Answer.CONFORMITY


def test_a_copy_that_the_originals_machine_has_mounted_read_write_is_neither_immutable_nor_offline() -> None:
    """The mount table of the original's device shows a network mount whose source is the copy's device."""
    heron = a_device("heron", a_volume("heron:pool", offline=True), may_be_off=timedelta(days=3))
    away = a_copy(heron, NEAR, tree_at=STARTED - timedelta(days=1))
    policy = replace(ASKED, offline=1)
    reached = a_case(away, policy=policy, **mounting("heron.example:/srv/pool/mirror"))
    apart = a_case(away, policy=policy)

    assert finding(apart, "offline").answer is Answer.CONFORMITY
    assert finding(apart).answer is Answer.CONFORMITY
    for rule in ("offline", "immutable"):
        found = finding(reached, rule)
        assert found.answer is Answer.NONCONFORMITY
        assert "kestrel has mounted heron.example:/srv/pool/mirror read-write at /mnt/pool" in found.message
    observed = finding(reached, "within-reach")
    assert observed.answer is Answer.OBSERVATION
    assert observed.subject == "field-recordings@heron:pool/mirror/recordings"


@pytest.mark.parametrize(
    ("source", "values", "answer"),
    [
        ("heron.example:/srv/pool/mirror/recordings/2026", {}, Answer.NONCONFORMITY),  # a part of the copy
        ("auditor@heron:/srv", {"filesystem_type": "fuse.sshfs"}, Answer.NONCONFORMITY),  # all around it
        ("heron.example:/srv/pool/films", {}, Answer.CONFORMITY),  # beside it
        ("heron.example:/srv/pool/mirror", {"read_only": True}, Answer.CONFORMITY),
        ("heron.example:/", {"capacity": 7}, Answer.NONCONFORMITY),  # all of heron's
        ("heron.example:/films", {"capacity": 7}, Answer.CONFORMITY),  # of another size: another filesystem
        ("heron.example:/films", {"capacity": 5}, Answer.UNVERIFIED),  # an export's own names
        ("//heron/pool", {"filesystem_type": "cifs"}, Answer.UNVERIFIED),
        ("nas:/pool", {"capacity": 5}, Answer.UNVERIFIED),  # another name, and just as large
        ("nas:/pool", {}, Answer.UNVERIFIED),
        ("nas:/pool", {"capacity": 7}, Answer.CONFORMITY),
        ("/dev/sdb1", {"is_network": False, "filesystem_type": "ext4"}, Answer.CONFORMITY),
    ],
)
def test_a_mount_leads_to_a_copy_by_its_source_and_its_size(source: str, values: Any, answer: Answer) -> None:
    heron = a_device("heron", a_volume("heron:pool", offline=True), may_be_off=timedelta(days=3))
    place = a_place(heron, volume_facts=volume_facts(heron.volumes[0], capacity=5))
    away = a_copy(heron, NEAR, place=place, tree_at=STARTED - timedelta(days=1))

    assert finding(asked(away, **mounting(source, **values))).answer is answer


def test_a_snapshot_within_reach_cannot_be_written_and_may_be_deleted() -> None:
    found = finding(asked(snapshots(), **mounting("heron.example:/srv/pool")))

    assert found.answer is Answer.UNVERIFIED
    assert "whether it can be deleted is open: kestrel has mounted heron.example:/srv/pool" in found.message


@pytest.mark.parametrize(
    "box", [a_gap("kestrel"), device_facts("kestrel", filesystems_unseen="the box has no mount table")]
)
def test_where_the_originals_mounts_were_not_seen_nothing_is_out_of_reach(box: Any) -> None:
    original = an_original(place=a_place(KESTREL, device_facts=box))

    found = finding(asked(snapshots(), original=original))

    assert found.answer is Answer.UNVERIFIED
    assert "what kestrel has mounted was not seen" in found.message


def test_nothing_is_said_where_nothing_is_asked() -> None:
    rules = {f.rule for f in judged_dataset(a_case()).findings}

    assert not {"immutable", "within-reach"} & rules
