"""One drive of a volume leaves: the verdict on all of the volume, and what the volume is while the drive is out."""

from __future__ import annotations

import pytest

from tests.acceptance.test_retire import ESTATE, agrees_with_its_schema, copies, retired
from tests.parts.station import Station

DRIVES = "drives: [{size: 4 TB, count: 3, in_service: 2019-03-02}, {size: 8 TB}], parity: {kind: spread, drives: 1}, "


@pytest.fixture
def arrayed(station: Station) -> Station:
    """A box with an array of four drives, whose dataset two others hold."""
    station.declare(ESTATE.replace("medium: ssd,", f"medium: ssd, {DRIVES}"))
    station.write("kestrel/recordings/dawn.wav", b"d" * 30_000)
    copies(station)
    return station


def test_a_drive_is_told_with_its_figures_and_a_verdict_on_all_of_the_volume(arrayed: Station) -> None:
    ran = retired(arrayed, "avocet:disk#1", "--hash", "all", "--replace", "4TB=8TB", "--count", "3")
    agrees_with_its_schema(ran)
    assert (ran.object["verdict"], ran.status) == ("clear", 0)
    (drive,) = ran.object["drives"]
    # Four slices of 4 TB, three, and four of 8 TB, each time one of them parity (mdadm(8), `--size`).
    usable = [drive[state]["usable"] for state in ("array", "without", "replaced")]
    assert usable == [12 * 10**12, 8 * 10**12, 24 * 10**12]
    assert (drive["array"]["stands"], drive["rebuild"]["stands"], drive["stood"]) == (1, 0, True)
    # Three drives of 4 TB, 1 error in 10^14 bits: 1 - exp(-0.96) of a rebuild meets an unreadable sector.
    assert float(drive["rebuild"]["unreadable_at_most"]) == pytest.approx(0.617, abs=0.001)
    assert [age["past_service"] for age in drive["ages"]] == [True, True, True, False]
    assert drive["at_stake"] == []

    arrayed.write("avocet/alone.txt", b"only here")
    ran = arrayed.called("retire", "avocet:disk#1", "--hash", "all", "--dossier", str(arrayed.root / "dossier"))
    assert ran.status == 1
    said = " ".join(ran.out.split())
    assert 'The verdict "not clear" is for all that is on avocet:disk' in said
    assert "it stands the loss of drive 1: by that alone nothing is lost" in said
    page = (arrayed.root / "dossier/dossier.html").read_text(encoding="utf-8")
    assert "avocet:disk while drive 1 is out" in page


def test_drives_are_judged_together_with_all_else_that_leaves(arrayed: Station) -> None:
    ran = retired(arrayed, "avocet:disk#1", "avocet:disk#4", "kestrel", "heron")
    assert [one["stood"] for one in ran.object["drives"]] == [False, False]
    (stake,) = ran.object["drives"][0]["at_stake"]
    assert stake["dataset"] == "field-recordings", "the places that hold it leave, too"
    assert retired(arrayed, "avocet", "avocet:disk#1").object["drives"] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("avocet:disk#1", "--replace", "6TB=8TB"), "cannot be replaced: the array has 0 of them"),
        (("avocet:disk", "--replace", "4TB=8TB"), "--replace needs a volume whose `drives` are declared"),
        (("avocet:disk#1", "--count", "2"), "--count says how many drives give way"),
    ],
)
def test_a_replacement_that_cannot_be_is_refused_before_anything_is_walked(
    arrayed: Station, words: tuple[str, ...], said: str
) -> None:
    ran = arrayed.called("retire", *words)
    assert ran.status == 64
    assert said in " ".join(ran.err.split())
