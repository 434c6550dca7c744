"""In the sandbox of the service the auditor sees what it sees outside, and can write nothing but its own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from tests.parts.mailbox import Mailbox
from tests.parts.sshd import Box
from tests.parts.station import Ran, Station
from tests.parts.unit_sandbox import ACCOUNT, sandboxed
from tests.parts.waiting import wait_for

UNIT = Path(__file__).resolve().parents[2] / "deploy" / "coverage-audit.service"
ESTATE = """
sites: {{station: {{name: Field station}}, barn: {{name: Long Barn}}}}
devices:
  kestrel:
    site: station
    access: local
    volumes:
      main: {{path: {{root}}/main, medium: hdd, on_root: true}}
      spare: {{path: {{root}}/spare, medium: hdd, on_root: true}}
  heron:
    site: barn
    access:
      ssh: root@127.0.0.1:{port}
      identity_file: {folder}/auditor
      known_hosts: {folder}/known_hosts
      config_file: {folder}/ssh_config
    attested_apart: {{kestrel: "another room, we looked"}}
    volumes: {{pool: {{path: {{root}}/pool, medium: ssd, on_root: true}}}}
policies: {{careful: {{copies: 2, max_age: 26h}}}}
datasets:
  field-recordings:
    policy: careful
    original: kestrel:main/recordings
    copies: [{{at: heron:pool/recordings}}, {{at: kestrel:spare/recordings}}]
notices:
  household: {{url_file: {{root}}/household, send: [failing]}}
"""
ABOVE_THE_STATE = """
sites: {station: {name: Field station}}
devices:
  kestrel:
    site: station
    access: local
    volumes:
      up: {path: {root}/up, medium: ssd, on_root: true}
      auditor: {path: {root}/up/lib/state, medium: ssd, on_root: true}
policies: {plain: {copies: 1, max_age: 26h}}
datasets:
  system: {policy: plain, original: "kestrel:up/lib", copies: []}
  auditor: {policy: plain, original: "kestrel:auditor", copies: []}
"""
WRITES = """
import pathlib, sys
refused = []
for name in sys.argv[1:]:
    try:
        pathlib.Path(name, "planted").write_text("x")
    except OSError as error:
        refused.append(name)
print(*refused, sep="\\n")
"""

pytestmark = pytest.mark.root


@pytest.fixture
def home(box: Box) -> Iterator[Station]:
    """Two places of equal content, some of it in a folder that only root may enter.

    They lie where everybody may pass: the right to read everything does not reach what asks with access(2).
    """
    station = Station(root=Path(tempfile.mkdtemp(prefix="station-", dir="/var/tmp")))
    station.root.chmod(0o755)
    station.declare(ESTATE.format(port=box.port, folder=box.folder))
    for number in range(40):
        station.write(f"main/recordings/{number:02}.wav", b"\xff" * number)
        station.write(f"main/recordings/shut/{number:02}.wav", b"\xfe" * number)
    (station.root / "main/recordings/shut").chmod(0o700)
    station.mirror("main", "pool")
    station.mirror("main", "spare")
    for folder in (station.state, station.root / "cache"):
        folder.mkdir()
    for ours in (box.folder / "auditor", station.root / "household"):
        ours.touch(mode=0o600)
        os.chown(ours, ACCOUNT, ACCOUNT)
    yield station
    shutil.rmtree(station.root)


def inside(station: Station) -> tuple[str, ...]:
    return sandboxed(UNIT, station.state, station.root / "cache")


@contextmanager
def notify_socket(path: Path) -> Iterator[Callable[[], list[bytes]]]:
    """A service manager's socket; what is given returns all messages that came until then."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        path.chmod(0o777)
        manager.settimeout(0)
        messages: list[bytes] = []

        def heard() -> list[bytes]:
            with suppress(BlockingIOError):
                while True:
                    messages.append(manager.recv(4096))
            return messages

        yield heard


def answers(ran: Ran) -> list[tuple[str, str]]:
    return [(finding["id"], finding["answer"]) for finding in ran.object["datasets"][0]["findings"]]


def test_an_audit_here_and_over_ssh_sees_in_the_sandbox_what_it_sees_outside(home: Station) -> None:
    scratch = {"TMPDIR": str(home.root / "cache")}

    home.command("audit", prefix=inside(home), environment=scratch)  # from then on there is a listing of before
    shut_in = home.command("audit", "--json", prefix=inside(home), environment=scratch)
    owners = {file.stat().st_uid for file in home.state.rglob("*")}
    outside = home.command("audit", "--json")

    assert shut_in.status == 1, shut_in.err  # on one machine two copies are not apart: the same in both
    assert owners == {ACCOUNT}, "it was another account that recorded it"
    for seen in (shut_in.object, outside.object):
        (dataset,) = seen["datasets"]
        assert dataset["original"]["files"] == 80
        assert [copy["standing"] for copy in dataset["copies"]] == ["proven", "proven"]
    assert answers(shut_in) == answers(outside)


def test_what_holds_the_state_folder_is_seen_whole(home: Station) -> None:
    """The sandbox binds the folders that it may write upon themselves: these are no mounts that hide anything."""
    home.declare(ABOVE_THE_STATE)
    home.state = home.root / "up/lib/state"
    home.state.mkdir(parents=True)
    home.write("up/lib/other/a.txt")
    scratch = {"TMPDIR": str(home.root / "cache")}

    shut_in = home.command("audit", "--json", prefix=inside(home), environment=scratch)
    outside = home.command("audit", "--json")
    surveys = [
        home.command("survey", "--json", prefix=prefix, environment=scratch).object["filesystems"]
        for prefix in (inside(home), ())
    ]

    originals = [dataset["original"] for seen in (shut_in, outside) for dataset in seen.object["datasets"]]
    assert [original["standing"] for original in originals] == ["proven"] * 4, outside.out
    assert all(original["files"] > 1 for original in originals)
    names = [sorted(found["target"] for found in survey) for survey in surveys]
    # Other tests mount and unmount elsewhere meanwhile.
    inside_out = [[name for name in seen if name == "/" or name.startswith(str(home.root))] for seen in names]
    assert inside_out == [["/"], ["/"]]


def test_a_notice_leaves_the_sandbox(home: Station, mailbox: Mailbox) -> None:
    (home.root / "household").write_text(mailbox.address())
    (home.root / "pool/recordings/07.wav").unlink()

    told = home.command("audit", "--notify", prefix=inside(home), environment={"TMPDIR": str(home.root / "cache")})

    assert told.status == 1, told.err
    assert len(mailbox.letters) == 1


def test_nothing_but_its_own_folders_can_be_written(home: Station) -> None:
    folders = [home.root / name for name in ("main", "pool", "state", "cache")] + [Path("/etc"), Path("/var/tmp")]
    for folder in folders[:2]:
        folder.chmod(0o777)

    command = [*inside(home), "/usr/bin/env", "python3", "-c", WRITES, *map(str, folders)]
    tried = subprocess.run(command, capture_output=True, text=True, check=True)

    assert tried.stdout.split() == [str(folders[number]) for number in (0, 1, 4, 5)]


def test_the_daemon_runs_a_night_in_the_sandbox_and_stops_cleanly(home: Station) -> None:
    home.estate_file.write_text(home.estate_file.read_text() + 'schedule: {audit: "04:10"}\n')
    with notify_socket(home.root / "notify") as heard:
        environment = {**os.environ, "TMPDIR": str(home.root / "cache"), "NOTIFY_SOCKET": str(home.root / "notify")}
        command = [*inside(home), sys.executable, "-m", "coverage_audit", "daemon", "--log", "json", "--tick", "0.5"]
        command += ["--estate", str(home.estate_file), "--state", str(home.state)]
        with (home.root / "log").open("wb") as log:
            daemon = subprocess.Popen(command, stdout=log, stderr=log, env=environment)
        try:
            # What is heard is taken from the socket all the while: it holds ten messages, as a manager's does.
            done = wait_for(lambda: bool(heard()) and '"event": "night ended"' in (home.root / "log").read_text())
            daemon.terminate()
            status = daemon.wait(30)
        finally:
            daemon.kill()
        said = (home.root / "log").read_text()
        assert done, said
        assert status == 0, said
        assert {b"READY=1", b"STOPPING=1"} <= {line for message in heard() for line in message.split(b"\n")}
