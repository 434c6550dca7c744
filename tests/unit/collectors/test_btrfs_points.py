"""Snapshots of real btrfs filesystems, asked for through the gate."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.collectors.readers import btrfs_points
from coverage_audit.collectors.stamps.local_time import Zone
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.facts import DatedBy, GapKind, PointList
from tests.builders.shell_reply import NONCE, answered, framed_reply, run_gate
from tests.parts.loops import MakeVolume
from tests.parts.subvolumes import btrfs, sent, set_writable, snapshot, subvolume, writable_snapshot

DUBLIN = Zone(zone=ZoneInfo("Europe/Dublin"), source="declared for the device")
ADDRESS = Address(volume=VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool")), path=".points/{point}")
SHOWN = b"""data
\tName: \t\t\tdata
\tUUID: \t\t\t0d16928f-1c77-0240-9c91-1746dfbfc94e
\tParent UUID: \t\t-
\tReceived UUID: \t\t-
\tCreation time: \t\t2026-11-25 21:13:15 +0000
\tSubvolume ID: \t\t256
\tGeneration: \t\t9
\tGen at creation: \t7
\tParent ID: \t\t5
\tTop level ID: \t\t5
\tFlags: \t\t\treadonly
\tSnapshot(s):"""  # btrfs-progs 6.2 on Linux 6.18, recorded


def later() -> datetime:
    return datetime.now(UTC) + timedelta(seconds=2)  # noqa: TID251 - the kernel dates its snapshots by the same clock


@pytest.fixture
def pool(tmp_path: Path, make_volume: MakeVolume) -> Path:
    """A btrfs volume with the subvolume `data`."""
    folder = tmp_path / "pool"
    make_volume(folder, "btrfs")
    (subvolume(folder / "data") / "take.wav").write_bytes(bytes(2000))
    (folder / ".points").mkdir()
    return folder


def listed(pool: Path, source: str | None = "data", at: datetime | None = None) -> PointList:
    known = f"{pool}/{source}" if source is not None else str(pool)
    request = btrfs_points.request(f"{pool}/.points/{{point}}", known, NONCE, received=source is None)
    reply, status = answered(request, before=b"last login: yesterday\n")
    return btrfs_points.parse(
        reply, status, nonce=NONCE, address=ADDRESS, received=source is None, zone=DUBLIN, at=at or later()
    )


def names(found: PointList) -> list[str]:
    return [point.name for point in found.points]


@pytest.mark.root
def test_a_snapshot_is_dated_by_the_filesystem_whatever_its_name_and_its_times_say(pool: Path) -> None:
    os.utime(pool / "data", (10**9, 10**9))
    before = datetime.now(UTC) - timedelta(seconds=2)  # noqa: TID251 - held against the kernel's clock
    snapshot(pool / "data", pool / ".points" / "odd name")

    (point,) = listed(pool).points

    assert before <= point.earliest == point.latest <= later()
    assert point.dated_by is DatedBy.FILESYSTEM
    assert point.identity is not None
    assert point.doubts == ()
    assert point.sealed


@pytest.mark.root
def test_a_name_that_says_another_time_than_the_filesystem_is_said(pool: Path) -> None:
    snapshot(pool / "data", pool / ".points" / "2026-01-24_03-00-07")

    (point,) = listed(pool).points

    assert "another time" in point.doubts[0]
    assert point.earliest > datetime(2026, 1, 25, tzinfo=UTC)


@pytest.mark.root
def test_names_with_blanks_and_newlines_are_told_apart(pool: Path) -> None:
    for name in ("a b", "new\nline", " lead", "-dash"):
        snapshot(pool / "data", pool / ".points" / name)

    found = listed(pool)

    # All were made within a second or so: those of one instant are one point, the others are said to be.
    said = {point.name for point in found.points} | {name for name, why in found.refused if "same instant" in why}
    assert {name.replace("\n", r"\n") for name in said} == {"a b", r"new\nline", " lead", "-dash"}


@pytest.mark.root
def test_what_is_no_finished_snapshot_of_the_declared_subvolume_is_refused(pool: Path) -> None:
    points = pool / ".points"
    snapshot(subvolume(pool / "other"), points / "of-another")
    writable_snapshot(pool / "data", points / "writable")
    (points / "plain").mkdir()
    subvolume(points / "made-by-itself")
    (points / "file").write_text("no folder")

    found = listed(pool)

    assert found.points == ()
    assert {name: why.partition(":")[0] for name, why in found.refused} == {
        "of-another": "it is no snapshot of the declared subvolume",
        "made-by-itself": "it is no snapshot of the declared subvolume",
        "writable": "it is writable",
        "plain": "it is a plain folder, no subvolume",
    }


@pytest.mark.root
def test_one_that_was_made_writable_and_changed_since_shows_it(pool: Path) -> None:
    changed = writable_snapshot(pool / "data", pool / ".points" / "changed")
    (changed / "take.wav").write_bytes(b"another")
    btrfs("filesystem", "sync", pool)
    set_writable(changed, writable=False)

    (point,) = listed(pool).points

    assert "written to after it was made" in point.doubts[0]
    assert not point.sealed


@pytest.mark.root
def test_what_is_done_to_a_snapshot_raises_the_count_of_its_changes(pool: Path) -> None:
    taken = snapshot(pool / "data", pool / ".points" / "taken")
    (before,) = listed(pool).points

    set_writable(taken, writable=True)
    (taken / "take.wav").write_bytes(b"another")
    btrfs("filesystem", "sync", pool)
    set_writable(taken, writable=False)
    (after,) = listed(pool).points

    assert before.generation is not None
    assert after.generation is not None
    assert after.generation > before.generation
    assert after.identity == before.identity


@pytest.mark.root
def test_received_snapshots_are_dated_by_their_names_and_half_made_ones_refused(
    pool: Path, tmp_path: Path, make_volume: MakeVolume
) -> None:
    make_volume(tmp_path / "elsewhere", "btrfs")
    second, points = tmp_path / "elsewhere", tmp_path / "elsewhere" / ".points"
    for name in ("2026-11-01_03-00-00", "2026-11-02_03-00-00", "2026-11-03_03-00-00", "2098-11-04_03-00-00"):
        made = snapshot(pool / "data", pool / "kept" / name)
        sent(made, points, cut=300 if name == "2026-11-02_03-00-00" else None)
    tampered = points / "2026-11-03_03-00-00"
    set_writable(tampered, writable=True)
    (tampered / "take.wav").write_bytes(b"another")
    set_writable(tampered, writable=False)
    snapshot(second / ".points" / "2026-11-01_03-00-00", points / "2026-11-05_03-00-00")

    found = listed(second, None, at=datetime(2099, 1, 1, tzinfo=UTC))

    assert names(found) == ["2026-11-01_03-00-00"]
    assert found.points[0].earliest == datetime(2026, 11, 1, 3, tzinfo=UTC)
    assert found.points[0].dated_by is DatedBy.NAME
    why = dict(found.refused)
    assert "half made" in why["2026-11-02_03-00-00"]
    assert "made writable since" in why["2026-11-03_03-00-00"]
    assert "after it was received" in why["2098-11-04_03-00-00"]
    assert "made of one that was received" in why["2026-11-05_03-00-00"]


@pytest.mark.root
def test_without_privileges_it_is_a_gap_that_says_how_to_allow_it(pool: Path) -> None:
    snapshot(pool / "data", pool / ".points" / "p")
    request = btrfs_points.request(f"{pool}/.points/{{point}}", f"{pool}/data", NONCE, received=False)
    done = run_gate(request, by=("setpriv", "--bounding-set=-sys_admin", "--inh-caps=-all", "sh"))

    with pytest.raises(TransportError, match="visudo") as refused:
        btrfs_points.parse(
            done.stdout, done.returncode, nonce=NONCE, address=ADDRESS, received=False, zone=DUBLIN, at=later()
        )

    assert refused.value.kind is GapKind.UNREADABLE


@pytest.mark.root
def test_sudo_helps_where_it_is_allowed(pool: Path, tmp_path: Path) -> None:
    # Stands in for sudo: the one command that the account may run, as root.
    snapshot(pool / "data", pool / ".points" / "p")
    tools = tmp_path / "tools"
    tools.mkdir()
    (tools / "btrfs").write_text(
        f"""#!/bin/sh
case $HELPED in yes) exec {btrfs_path()} "$@" ;; esac
echo "ERROR: Operation not permitted" >&2
exit 1
"""
    )
    (tools / "sudo").write_text(
        """#!/bin/sh
[ "$1 $3 $4" = "-n subvolume show" ] || exit 1
shift
HELPED=yes exec "$@"
"""
    )
    for tool in tools.iterdir():
        tool.chmod(0o755)
    request = btrfs_points.request(f"{pool}/.points/{{point}}", f"{pool}/data", NONCE, received=False)
    done = run_gate(request, environment={**os.environ, "PATH": f"{tools}:{os.environ['PATH']}", "HELPED": ""})

    found = btrfs_points.parse(
        done.stdout, done.returncode, nonce=NONCE, address=ADDRESS, received=False, zone=DUBLIN, at=later()
    )

    assert names(found) == ["p"]


@pytest.mark.root
def test_a_source_that_is_no_subvolume_or_not_there_is_a_gap(pool: Path) -> None:
    (pool / "folder").mkdir()
    for source, kind in (("folder", GapKind.UNREADABLE), ("gone", GapKind.MISSING)):
        with pytest.raises(TransportError) as refused:
            listed(pool, source)
        assert refused.value.kind is kind


def test_a_folder_that_is_not_on_btrfs_is_a_gap(tmp_path: Path) -> None:
    (tmp_path / ".points").mkdir()
    for source in (None, ""):
        with pytest.raises(TransportError) as refused:
            listed(tmp_path, source)
        assert refused.value.kind is GapKind.UNREADABLE


def reply_of(*folders: tuple[bytes, bytes], control: bytes = SHOWN) -> bytes:
    """The gate's answer as it was recorded, for these folders and what was shown of them."""
    values = [b"0", control, b""]
    for name, shown in folders:
        values += [b"././" + name, b"0", shown, b""]
    reply = framed_reply(("control", values[0]))
    inner = b"".join(value + b"\0" for value in (b"control", *values, b"status", b"ok"))
    return reply.replace(b"control\0" + b"0\0", inner)


def read(reply: bytes) -> PointList:
    return btrfs_points.parse(
        reply,
        0,
        nonce=NONCE,
        address=ADDRESS,
        received=False,
        zone=DUBLIN,
        at=datetime(2026, 11, 26, tzinfo=UTC),
    )


def test_lines_forged_by_a_name_are_not_believed() -> None:
    mine = SHOWN.replace(b"Parent UUID: \t\t-", b"Parent UUID: \t\t0d16928f-1c77-0240-9c91-1746dfbfc94e")
    forged = SHOWN.replace(b"data\n\tName: \t\t\tdata", b"p\n\tName: \t\t\tp" + mine[mine.index(b"\n\tUUID") :])

    honest, lying = read(reply_of((b"p", mine))), read(reply_of((b"p", forged)))

    assert names(honest) == ["p"]
    assert lying.points == ()
    assert lying.refused == (("p", "what btrfs shows of it cannot be read for certain"),)


def test_an_answer_that_does_not_show_the_subvolume_itself_is_no_answer() -> None:
    with pytest.raises(TransportError) as refused:
        read(reply_of(control=b""))
    assert refused.value.kind is GapKind.MALFORMED


def test_an_answer_cut_anywhere_is_no_answer() -> None:
    reply = reply_of((b"p", SHOWN))
    for end in range(len(reply)):
        with pytest.raises(TransportError):
            read(reply[:end])


def btrfs_path() -> str:
    found = shutil.which("btrfs", path=f"{os.environ['PATH']}:/usr/sbin:/sbin")
    assert found
    return found
