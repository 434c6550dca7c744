"""Files read back out of copies with real boxes: what comes back is right, damaged, or not shown to be either."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from coverage_audit.evidence.drilling import LEAST_MEASURED
from tests.builders.two_places import COPY, two_places
from tests.parts.gates import force_gate, install_gate
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.sshd import Box, StartSshd
from tests.parts.station import Ran, Station
from tests.parts.two_boxes import reached

NAMES = ("plain.wav", "-rf", "a b/$(touch hole) `id`", "line\nfeed", "\udcff no utf-8", "…/⁂", "x" * 255)
PIECE = 3 * LEAST_MEASURED // 2


def fill(station: Station, access: str = "local") -> None:
    """A dataset with files of several sizes and hostile names, and its copy."""
    for number, name in enumerate(NAMES):
        station.write(f"kestrel/recordings/{name}", bytes([number]) * (1000 * number + 1))
    for number in range(3):
        station.write(f"kestrel/recordings/long-{number}.wav", os.urandom(PIECE))
    station.mirror("kestrel/recordings", "heron/recordings")
    station.declare(two_places(access=access))
    assert copy_standing(station) == "proven"


def copy_standing(station: Station) -> str:
    copy = station.night().judged.datasets[0].copies[0]
    return copy.standing.value


def drilled(station: Station, *words: str) -> Ran:
    return station.command("drill", "field-recordings", *words)


def spoil(file: Path) -> None:
    """Flip one bit of a file, its size and its times put back."""
    seen = file.stat()
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    os.utime(file, ns=(seen.st_atime_ns, seen.st_mtime_ns))


def assert_nothing_is_left(station: Station) -> None:
    assert list((station.state / "staging").iterdir()) == []


@pytest.fixture(params=["local", "ssh", "sftp only", "installed gate"])
def way(request: pytest.FixtureRequest, station: Station) -> str:
    """The copy's box, reached in each of the ways that there are; how that is said."""
    if request.param == "local":
        fill(station)
        return "on this machine"
    if request.param == "sftp only":
        start_sftp: StartSftpOnly = request.getfixturevalue("start_sftp_only")
        fill(station, reached(start_sftp()))
        return "over SFTP"
    start: StartSshd = request.getfixturevalue("start_sshd")
    box = start()
    if request.param == "installed gate":
        heron = station.root / "heron"
        force_gate(box, install_gate(station.root / "lib", f"root {heron}\nsend {heron}\n"))
    fill(station, reached(box))
    return "over SSH, sent by the gate"


def test_every_file_comes_back_with_whatever_name_and_its_rate_is_told(station: Station, way: str) -> None:
    ran = drilled(station, "--files", "100", "--json")
    assert ran.status == 0, ran
    told = ran.object
    whole = sum(1000 * number + 1 for number in range(len(NAMES))) + 3 * PIECE
    assert told["outcome"] == "restored"
    assert told["restored"] == {"files": 10, "bytes": whole}
    assert (told["chosen"], told["held"], told["held_against_originals"], told["read_bytes"]) == (10, 10, 10, whole)
    assert told["way"] == way
    assert told["bytes_per_second"] > 100_000
    assert_nothing_is_left(station)


def test_one_bit_of_one_file_is_found_said_and_ends_the_command_with_one(station: Station, way: str) -> None:
    spoil(station.root / "heron/recordings/long-1.wav")
    ran = drilled(station, "--files", "100", "--json")
    assert ran.status == 1, ran
    assert ran.object["outcome"] == "damaged"
    assert ran.object["damaged"] == {"files": 1, "bytes": PIECE}
    assert [one["path"] for one in ran.object["incidents"]] == ["long-1.wav"]
    assert "long-1.wav: damaged" in drilled(station, "--path", "plain.wav").out, "it is read again with every drill"
    assert way
