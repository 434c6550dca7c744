"""A share on which root has another account's rights (exports(5): root_squash): what it may not see is unknown.

Served by a real SFTP server that runs as nobody, and mounted here by root: the server refuses what its account may not,
whoever asks. (A folder that this account may list and not enter cannot be shown so: OpenSSH's server leaves out every
entry of it without a word, and behind a mount nothing tells it from an empty one. The SFTP reader asks for `folder/.`.)
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.builders.two_places import two_places
from tests.parts.hanging import HangingMount, MountHanging
from tests.parts.station import Ran, Station

pytestmark = pytest.mark.root


@pytest.fixture
def squashed(station: Station, mount_hanging: MountHanging) -> HangingMount:
    """The original on such a share; the copy, here, holds only what nobody may see of it."""
    station.declare(two_places())
    for number in range(8):
        folder = "open" if number % 2 else "closed"
        station.write(f"served/recordings/{folder}/take-{number}.wav", bytes(100 + number))
    for above in (station.root / "served").parents:
        if above.stat().st_mode & 0o005 != 0o005:
            above.chmod(above.stat().st_mode | 0o055)
    station.mirror("served/recordings/open", "heron/recordings/open")
    return mount_hanging(station.root / "served", station.root / "kestrel", account="nobody")


def audit(station: Station, mount: HangingMount) -> tuple[Ran, dict[str, Any]]:
    ran = station.command("audit", "--json", prefix=mount.prefix)
    (dataset,) = ran.object["datasets"]
    return ran, dataset


def recordings(station: Station) -> Path:
    return station.root / "served/recordings"


def test_what_root_may_see_there_is_compared(station: Station, squashed: HangingMount) -> None:
    ran, dataset = audit(station, squashed)
    assert dataset["original"]["files"] == 8
    assert dataset["copies"][0]["standing"] == "stale"
    assert ran.status == 1


def test_an_original_that_root_may_not_enter_is_a_gap_and_not_empty(station: Station, squashed: HangingMount) -> None:
    recordings(station).chmod(0o700)
    ran, dataset = audit(station, squashed)
    assert ran.status == 69
    assert dataset["conclusion"] == "unverified"
    assert dataset["copies"][0]["standing"] == "unverified"
    assert [gap["kind"] for gap in ran.object["gaps"]] == ["unreadable"]
    assert dataset["original"]["files"] is None


@pytest.mark.parametrize("mode", [0o700, 0o711])
def test_a_folder_of_it_that_root_may_not_read_is_not_empty(
    station: Station, squashed: HangingMount, mode: int
) -> None:
    (recordings(station) / "closed").chmod(mode)
    ran, dataset = audit(station, squashed)
    assert ran.status == 69
    assert dataset["conclusion"] == "unverified"
    assert dataset["copies"][0]["standing"] == "unverified"
    assert "closed" in dataset["copies"][0]["reason"]
