"""Snapshots of ZFS datasets: of a real pool served by zfs-fuse, and of answers as OpenZFS documents them."""

from __future__ import annotations

import os
import subprocess
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.collectors.readers import zfs_points
from coverage_audit.collectors.stamps.local_time import Zone
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.facts import DatedBy, GapKind, PointList
from tests.builders.shell_reply import NONCE, framed_reply, run_gate
from tests.parts.pools import POOL, Pool

DUBLIN = Zone(zone=ZoneInfo("Europe/Dublin"), source="declared for the device")
VOLUME = VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool"))
OPAQUE = Address(volume=VOLUME, path="recordings")
DATASET = f"{POOL}/recordings"


def read(reply: bytes, status: int = 0, dataset: str = "tank/home", address: Address = OPAQUE) -> PointList:
    return zfs_points.parse(
        reply, status, nonce=NONCE, dataset=dataset, address=address, zone=DUBLIN, at=datetime(2100, 1, 1, tzinfo=UTC)
    )


def asked(dataset: str, path: str | None = None) -> PointList:
    done = run_gate(
        zfs_points.request(dataset, NONCE), environment={**os.environ, "PATH": path} if path is not None else None
    )
    return read(done.stdout, done.returncode, dataset)


def listing(itself: bytes, snapshots: bytes) -> bytes:
    """An answer in the shape of zfs-list(8): no header, one tab between fields, times in seconds."""
    return framed_reply(("list", itself)).replace(b"\0E ", b"\0" + snapshots + b"\0E ")


@pytest.mark.root
def test_the_snapshots_of_a_real_pool_are_dated_by_the_pool(pool_of_zfs: Pool) -> None:
    pool_of_zfs.zfs("create", DATASET)
    pool_of_zfs.zfs("create", f"{DATASET}/below")
    pool_of_zfs.zfs("create", f"{POOL}/other")
    for name in (f"{DATASET}@2019-01-01", f"{DATASET}/below@2026-11-24", f"{POOL}/other@2026-11-23"):
        pool_of_zfs.zfs("snapshot", name)

    (point,) = asked(DATASET).points

    assert point.name == "2019-01-01"
    assert point.earliest.timestamp() == pool_of_zfs.figure(f"{DATASET}@2019-01-01", "creation")
    assert point.identity == (
        f"zfs {pool_of_zfs.figure(DATASET, 'guid')} {pool_of_zfs.figure(f'{DATASET}@2019-01-01', 'guid')}"
    )
    assert point.dated_by is DatedBy.FILESYSTEM
    assert point.sealed
    assert "another time than the pool recorded" in point.doubts[0]


@pytest.mark.root
def test_a_dataset_without_snapshots_has_none_and_one_that_is_not_there_is_a_gap(pool_of_zfs: Pool) -> None:
    pool_of_zfs.zfs("create", DATASET)

    assert asked(DATASET).points == ()
    with pytest.raises(TransportError) as refused:
        asked(f"{POOL}/gone")
    assert refused.value.kind is GapKind.UNREADABLE


@pytest.mark.root
def test_a_snapshot_that_was_sent_to_another_dataset_is_another_one(pool_of_zfs: Pool) -> None:
    pool_of_zfs.zfs("create", DATASET)
    pool_of_zfs.zfs("snapshot", f"{DATASET}@first")
    stream = pool_of_zfs.zfs("send", f"{DATASET}@first")
    subprocess.run(["zfs", "receive", f"{POOL}/copy"], input=stream, check=True)

    (first,), (second,) = asked(DATASET).points, asked(f"{POOL}/copy").points

    assert pool_of_zfs.figure(f"{DATASET}@first", "guid") == pool_of_zfs.figure(f"{POOL}/copy@first", "guid")
    assert first.identity != second.identity


def test_lines_of_a_newer_zfs_are_read() -> None:
    # zfs-list(8) of OpenZFS; made by its description, for want of such a machine
    snapshots = b"tank/home@a\t1795575600\t42\t8704\ntank/home@b c\t1795489200\t43\t0"

    found = read(listing(b"tank/home\t1700000000\t7\t99", snapshots))

    assert [(point.name, point.earliest) for point in found.points] == [
        ("b c", datetime(2026, 11, 24, 3, tzinfo=UTC)),
        ("a", datetime(2026, 11, 25, 3, tzinfo=UTC)),
    ]
    assert found.points[1].identity == "zfs 7 42"


def test_snapshots_of_another_dataset_are_not_this_ones() -> None:
    found = read(listing(b"tank/home\t1\t7\t99", b"tank/home/sub@a\t1795575600\t42\t1\ntank/home2@a\t1795575600\t4\t1"))
    assert found.points == ()


@pytest.mark.parametrize(
    ("reply", "kind"),
    [
        (listing(b"", b""), GapKind.MALFORMED),
        (listing(b"tank\t1\t7\t99", b""), GapKind.MALFORMED),
        (listing(b"tank/home\t1\t7\t99", b"tank/home@a 1795575600 42 1"), GapKind.MALFORMED),
        (listing(b"tank/home\t1\t7\t99", b"tank/home@a\t-\t42\t1"), GapKind.MALFORMED),
        (framed_reply(("failed", b"cannot open 'tank/home': dataset does not exist")), GapKind.UNREADABLE),
        (framed_reply(), GapKind.MALFORMED),
    ],
)
def test_an_answer_that_does_not_show_the_dataset_itself_is_a_gap(reply: bytes, kind: GapKind) -> None:
    with pytest.raises(TransportError) as refused:
        read(reply)
    assert refused.value.kind is kind


def test_a_name_that_leads_elsewhere_is_no_folder_of_a_point() -> None:
    reply = listing(b"tank/home\t1\t7\t99", b"tank/home@..\t1795575600\t42\t1\ntank/home@a\t1795575601\t43\t1")
    found = read(reply, address=Address(volume=VOLUME, path=".zfs/snapshot/{point}"))
    assert [point.name for point in found.points] == ["a"]


def test_a_box_without_zfs_says_so() -> None:
    if any((Path(folder) / "zfs").exists() for folder in ("/usr/local/sbin", "/usr/sbin", "/sbin")):
        found = framed_reply().replace(b"sent\0", b"sent\0lacking\0")
    else:
        found = run_gate(zfs_points.request("tank/home", NONCE)).stdout
    with pytest.raises(TransportError) as refused:
        read(found)
    assert refused.value.kind is GapKind.NO_TOOL


def test_an_answer_cut_anywhere_is_no_answer() -> None:
    reply = listing(b"tank/home\t1\t7\t99", b"tank/home@a\t1795575600\t42\t8704")
    for end in range(len(reply)):
        with pytest.raises(TransportError):
            read(reply[:end])
