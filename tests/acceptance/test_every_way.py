"""The same tree in every way that a box may offer, over real SSH servers: the same rows, the same honesty."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.readers.sftp_tree import walk_over_sftp
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh import SshTransport
from coverage_audit.collectors.ways import Ways
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Kind
from tests.builders.hostile_tree import ENTRIES, FORGED, a_hostile_tree
from tests.builders.station import LIMITS
from tests.builders.walks import ORDINARY, Seen, as_sftp_tells, by_find, by_scan, by_sftp, by_stat
from tests.parts.busybox import StartBusybox
from tests.parts.processes import descendants
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.sshd import Box, StartSshd

pytestmark = pytest.mark.root

FAR_WAYS = ("gnu", "stat-c", "sftp")


Start = Callable[..., Box]


@pytest.fixture
def start(start_sshd: StartSshd, start_busybox: StartBusybox, start_sftp_only: StartSftpOnly) -> Start:
    """Start a box that offers one way; `prefix` is the start of a command that runs its server."""

    def started(way: str, prefix: Sequence[str] = ()) -> Box:
        if way == "gnu":
            return start_sshd(within=prefix)
        return start_busybox("heron", prefix=prefix) if way == "stat-c" else start_sftp_only(prefix)

    return started


def ways_of(transport: SshTransport) -> Ways:
    return Ways(transport, lambda: time.monotonic() + 30)


def walked(box: Box, root: str | Path) -> tuple[str, Seen]:
    """Walk in the way that the box offers, found out as an audit does."""
    with SshTransport.connect(box.access, LIMITS) as transport:
        ways = ways_of(transport)
        found = ways.tools()
        if found is None:
            return "sftp", by_sftp(root, ways.open_sftp(time.monotonic() + 60))
        by_gate = by_find if found.walk == "gnu" else by_stat
        return found.walk or "", by_gate(root, transport)


@pytest.mark.parametrize("way", FAR_WAYS)
def test_the_same_tree_has_the_same_rows(way: str, start: Start, tmp_path: Path) -> None:
    tree = a_hostile_tree(tmp_path / "tree")
    here = by_scan(tree)

    chosen, there = walked(start(way), tree)

    assert chosen == way
    assert len(here.rows) == ENTRIES
    expected = [as_sftp_tells(row) for row in here.rows] if way == "sftp" else list(here.rows)
    assert list(there.rows) == expected
    assert there.walked.blind == ()
    assert there.walked.lacks == ({"ctime", "links", "blocks"} if way == "sftp" else frozenset())
    assert there.walked.precision_ns == (10**9 if way == "sftp" else 1)
    forged = [row for row in there.rows if row.path.startswith((FORGED, b"./" + FORGED, b"second"))]
    assert forged == []
    assert sum(row.kind is Kind.OTHER for row in there.rows) == 2


@pytest.mark.parametrize("way", FAR_WAYS)
def test_a_folder_that_the_account_may_not_read_or_search_is_blind(way: str, start: Start, tmp_path: Path) -> None:
    tree = tmp_path / "tree"
    for name, mode in (("closed", 0), ("listed only", 0o400), ("open", 0o700)):
        (tree / name).mkdir(parents=True)
        (tree / name / "file").touch()
        (tree / name).chmod(mode)

    _way, seen = walked(start(way, prefix=ORDINARY), tree)

    assert seen.paths == [b"closed", b"listed only", b"open", b"open/file"]
    assert seen.blind.keys() <= {b"closed", b"listed only", b"listed only/file"}
    assert len(seen.blind) == 2
    assert set(seen.blind.values()) == {"Permission denied"}


@pytest.mark.parametrize("way", FAR_WAYS)
def test_a_root_that_is_a_link_is_followed_and_one_that_is_missing_is_said(
    way: str, start: Start, tmp_path: Path
) -> None:
    (tmp_path / "tree").mkdir()
    (tmp_path / "tree/file").touch()
    (tmp_path / "link").symlink_to("tree")
    box = start(way)

    assert walked(box, tmp_path / "link")[1].paths == [b"file"]
    for place in ("missing", "tree/file"):
        with pytest.raises(TransportError) as raised:
            walked(box, tmp_path / place)
        assert raised.value.kind is GapKind.MISSING
        assert place in raised.value.detail


def with_tools(folder: Path, **tools: str) -> bytes:
    """The gate with other tools before the box's own; a script is given by its text, `$0` is its own path."""
    folder.mkdir()
    for name, script in tools.items():
        (folder / name).write_text(f"#!/bin/sh\n{script}\n")
        (folder / name).chmod(0o755)
    place = os.fsencode(folder)
    text = gate_text()  # a shell of BusyBox takes its own tools whatever the PATH says: there they are named by path
    for name in tools:
        for before in (b"stat-c) ", b"lines_c='"):
            text = text.replace(before + name.encode() + b" ", before + place + b"/" + name.encode() + b" ")
    return b"PATH=%s:$PATH\n%s" % (place, text)


REAL_FIND = {"gnu": "/usr/bin/find", "stat-c": "/bin/busybox find"}
BY_GATE = {"gnu": by_find, "stat-c": by_stat}


def a_tree(root: Path, files: int = 3000) -> Path:
    for number in range(files):
        if number % 100 == 0:
            (root / f"{number}").mkdir(parents=True)
        (root / f"{number - number % 100}/take-{number}.wav").touch()
    return root


@pytest.mark.parametrize("way", ["gnu", "stat-c"])
@pytest.mark.parametrize("ending", ["kill -9 $PPID", "kill -9 $$", "exit 3", ""])
def test_a_listing_that_was_killed_or_cut_on_the_box_is_none(
    way: str, ending: str, start: Start, tmp_path: Path
) -> None:
    tree = a_tree(tmp_path / "tree")
    gate = with_tools(tmp_path / "tools", find=f'{REAL_FIND[way]} "$@" | head -c 100000\n{ending}')

    with SshTransport.connect(start(way).access, LIMITS, gate) as transport, pytest.raises(TransportError) as raised:
        BY_GATE[way](tree, transport)

    assert raised.value.kind in {GapKind.CUT, GapKind.MALFORMED}


@pytest.mark.parametrize("way", ["gnu", "stat-c"])
def test_a_listing_whose_output_met_a_full_device_is_none(way: str, start: Start, tmp_path: Path) -> None:
    # BusyBox's find and stat end with status 0 when they cannot write; only the count tells.
    tree = a_tree(tmp_path / "tree")
    full = {"gnu": {"find": '/usr/bin/find "$@" >/dev/full'}, "stat-c": {"stat": '/bin/busybox stat "$@" >/dev/full'}}
    gate = with_tools(tmp_path / "tools", **full[way])

    with SshTransport.connect(start(way).access, LIMITS, gate) as transport, pytest.raises(TransportError) as raised:
        BY_GATE[way](tree, transport)

    assert raised.value.kind in {GapKind.CUT, GapKind.MALFORMED}


def test_a_box_of_files_that_falls_silent_in_the_middle_gives_no_listing(start: Start, tmp_path: Path) -> None:
    tree = a_tree(tmp_path / "tree", 12_000)
    box = start("sftp")

    def end_the_box(_rows: Any) -> None:
        for number in descendants(box.pid):
            with contextlib.suppress(ProcessLookupError):
                os.kill(number, signal.SIGKILL)

    with SshTransport.connect(box.access, LIMITS) as transport:
        packets = transport.open_sftp(deadline=time.monotonic() + 30)
        with packets, pytest.raises(TransportError) as raised:
            walk_over_sftp(packets, str(tree), end_the_box, lambda _entries: None)

    assert raised.value.kind is GapKind.CUT


def test_a_box_with_neither_a_usable_find_nor_sftp_says_so(start_sshd: StartSshd, tmp_path: Path) -> None:
    gate = with_tools(tmp_path / "tools", find="exit 1", stat="exit 1")

    with (
        SshTransport.connect(start_sshd().access, LIMITS, gate) as transport,
        pytest.raises(TransportError) as raised,
    ):
        ways_of(transport).tools()

    assert raised.value.kind is GapKind.NO_TOOL
    assert "SFTP" in raised.value.detail


def test_a_box_whose_find_is_of_no_use_is_listed_over_sftp(start_sshd: StartSshd, tmp_path: Path) -> None:
    gate = with_tools(tmp_path / "tools", find="exit 1")
    box = start_sshd("Subsystem sftp internal-sftp")

    with SshTransport.connect(box.access, LIMITS, gate) as transport:
        assert ways_of(transport).tools() is None


def test_an_account_that_may_do_nothing_has_no_shell(start_sshd: StartSshd) -> None:
    box = start_sshd("ForceCommand echo This service allows sftp connections only.; exit 1")

    with SshTransport.connect(box.access, LIMITS) as transport, pytest.raises(TransportError) as raised:
        ways_of(transport).tools()

    assert raised.value.kind is GapKind.NO_SHELL
    assert "sftp connections only" in raised.value.detail
