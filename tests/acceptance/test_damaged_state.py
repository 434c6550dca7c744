"""The auditor's own files are damaged: said, costing what they held, and mended by the nights after."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Station, copy_of

DAY = timedelta(days=1)


@pytest.fixture
def behind(station: Station) -> Station:
    """A copy that has lacked a file for three nights."""
    station.declare(ESTATE)
    for number in range(40):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    station.night()
    station.pass_time(DAY)
    station.write("kestrel/recordings/new.wav", age=timedelta(hours=2))
    for _ in range(3):
        station.night()
        station.pass_time(DAY)
    return station


def spoil(file: Path) -> None:
    content = bytearray(file.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 64] = bytes(byte ^ 0xFF for byte in content[middle : middle + 64])
    file.write_bytes(content)


@pytest.mark.parametrize("folder", ["relations", "manifests"])
@pytest.mark.parametrize("damage", [spoil, Path.unlink, lambda file: file.write_bytes(b"")])
def test_damaged_memory_never_makes_a_copy_look_better_and_later_nights_mend_it(
    behind: Station, folder: str, damage: object
) -> None:
    files = list((behind.state / folder).iterdir())
    assert files
    for file in files:
        damage(file)  # type: ignore[operator]

    audited = behind.night()
    assert copy_of(audited, "field-recordings").standing is not Standing.PROVEN
    assert audited.judged.conclusion is not Conclusion.CONFORMING

    behind.mirror("kestrel/recordings", "heron/recordings")
    behind.pass_time(timedelta(hours=1))
    behind.night()
    behind.pass_time(timedelta(hours=1))
    assert copy_of(behind.night(), "field-recordings").standing is Standing.PROVEN
