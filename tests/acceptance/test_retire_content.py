"""What is known of the content of copies when something leaves: samples, and files that were found to be spoilt."""

from __future__ import annotations

import os

import pytest

from tests.acceptance.test_retire import ESTATE, copies, retired
from tests.parts.station import Station

VERIFIED = ESTATE.replace(
    "plain: {copies: 2, max_age: 26h}",
    "plain: {copies: 2, max_age: 26h, verify: {confidence: 95%, tolerable: 1%, every: 30d}}",
)


@pytest.fixture
def read(station: Station) -> Station:
    """An ordinary box whose copies are read by samples, as its policy asks."""
    station.declare(VERIFIED)
    for number in range(12):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes([65 + number]) * 20_000)
    copies(station)
    assert station.called("verify", "field-recordings").status == 0
    return station


@pytest.mark.parametrize("box", ["avocet", "kestrel"])
def test_a_well_kept_box_whose_policy_asks_for_samples_is_clear(read: Station, box: str) -> None:
    before = read.called("audit", "--json").object
    ran = retired(read, box, "--hash", "all")
    assert (ran.object["verdict"], ran.status) == ("clear", 0), ran.object["steps"]
    (dataset,) = ran.object["datasets"]
    assert (dataset["before"], dataset["after"]) == ("conforming", "conforming")
    after = read.called("audit", "--json").object
    assert after["conclusion"] == before["conclusion"] == "conforming", "to ask changes nothing of what is known"


def test_a_copy_that_is_known_to_be_spoilt_does_not_count_for_what_stays(read: Station) -> None:
    read.declare(ESTATE)  # nothing asks for samples any more; what was found stays found
    file = read.root / "heron/recordings/take-3.wav"
    kept = file.stat()
    file.write_bytes(b"!" * 20_000)
    os.utime(file, ns=(kept.st_atime_ns, kept.st_mtime_ns))
    assert read.called("verify", "field-recordings", "--all").status == 1
    for box in ("avocet", "kestrel"):
        ran = retired(read, box)
        assert (ran.object["verdict"], ran.status) == ("not clear", 1), ran.object["steps"]
        assert ran.object["only_here"] == []
        assert {one["rule"] for one in ran.object["breaks"]} >= {"content", "enough-copies"}
        assert any("take-3.wav" in step for step in ran.object["steps"])


def test_a_place_that_was_read_and_has_another_content_than_all_others_is_told(station: Station) -> None:
    station.declare(ESTATE)
    station.write("kestrel/recordings/dawn.wav", b"d" * 30_000)
    copies(station)
    file = station.root / "heron/recordings/dawn.wav"
    kept = file.stat()
    file.write_bytes(b"!" * 30_000)
    os.utime(file, ns=(kept.st_atime_ns, kept.st_mtime_ns))
    ran = retired(station, "avocet", "--hash", "all")
    assert (ran.object["verdict"], ran.status) == ("cannot tell", 69)
    assert ran.object["only_here"] == []
    (told,) = ran.object["breaks"]
    assert (told["dataset"], told["rule"]) == ("field-recordings", "content")
    assert "heron:pool/recordings/dawn.wav" in told["message"]
