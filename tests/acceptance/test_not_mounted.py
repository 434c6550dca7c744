"""The classic: a disk is not mounted, and the folder that stands there is taken for it."""

from __future__ import annotations

import pytest

from coverage_audit.evidence.facts import PinState
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.builders.two_places import two_places
from tests.parts.loops import MakeVolume
from tests.parts.station import Station, copy_of, dataset_of

pytestmark = pytest.mark.root

ESTATE = two_places(rehearsal=False, on_root=True)


@pytest.fixture
def barn(station: Station) -> Station:
    station.declare("rehearsal: true\n" + ESTATE)
    for number in range(12):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    return station


def test_an_empty_folder_where_the_copys_disk_was_is_unverified_and_says_why(
    barn: Station, make_volume: MakeVolume
) -> None:
    disk = make_volume(barn.root / "heron")
    barn.mirror("kestrel/recordings", "heron/recordings")
    assert barn.night().judged.conclusion is Conclusion.CONFORMING

    disk.unmount()
    copy = copy_of(barn.night(), "field-recordings")

    assert copy.standing is Standing.UNVERIFIED
    assert "nothing is mounted" in copy.reason
    assert "filesystem UUID was" in copy.reason


def test_an_older_tree_in_that_folder_is_not_judged_at_all(barn: Station, make_volume: MakeVolume) -> None:
    barn.mirror("kestrel/recordings", "heron/recordings")
    (barn.root / "heron/recordings/take-3.wav").unlink()
    disk = make_volume(barn.root / "heron")
    barn.mirror("kestrel/recordings", "heron/recordings")
    assert barn.night().judged.conclusion is Conclusion.CONFORMING

    disk.unmount()
    audited = barn.night()

    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED
    assert copy_of(audited, "field-recordings").comparison is None
    assert audited.judged.conclusion is Conclusion.UNVERIFIED


def test_fresh_files_written_into_the_bare_mount_point_are_not_the_copy(barn: Station, make_volume: MakeVolume) -> None:
    disk = make_volume(barn.root / "heron")
    barn.mirror("kestrel/recordings", "heron/recordings")
    barn.night()

    disk.unmount()
    barn.mirror("kestrel/recordings", "heron/recordings")

    assert copy_of(barn.night(), "field-recordings").standing is Standing.UNVERIFIED


def test_a_mount_point_that_was_empty_from_the_first_audit_on_is_asked_about_and_never_pinned(
    station: Station, make_volume: MakeVolume
) -> None:
    station.declare(ESTATE)
    station.write("kestrel/recordings/take.wav")
    station.mirror("kestrel/recordings", "heron/recordings")

    audited = station.night()
    states = {str(check.volume.device): check.state for check in audited.judged.identities}
    assert states["heron"] is PinState.ASKED
    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED

    make_volume(station.root / "heron")
    station.mirror("kestrel/recordings", "heron/recordings")
    states = {str(check.volume.device): check.state for check in station.night().judged.identities}
    assert states["heron"] is PinState.PINNED_NOW


def test_an_unmounted_original_is_covered_by_nothing(barn: Station, make_volume: MakeVolume) -> None:
    barn.declare(
        "rehearsal: true\n"
        + ESTATE.replace("heron:pool/recordings", "kestrel:main/recordings").replace(
            "original: kestrel:main/recordings", "original: heron:pool/recordings"
        )
    )
    disk = make_volume(barn.root / "heron")
    barn.mirror("kestrel/recordings", "heron/recordings")
    assert barn.night().judged.conclusion is Conclusion.CONFORMING

    disk.unmount()
    audited = barn.night()

    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
    assert dataset_of(audited, "field-recordings").conclusion is not Conclusion.CONFORMING


def test_another_disk_is_accepted_only_by_a_command(barn: Station, make_volume: MakeVolume) -> None:
    disk = make_volume(barn.root / "heron")
    barn.mirror("kestrel/recordings", "heron/recordings")
    barn.night()
    disk.unmount()
    make_volume(barn.root / "heron")
    barn.mirror("kestrel/recordings", "heron/recordings")

    audited = barn.night()
    assert copy_of(audited, "field-recordings").standing is Standing.UNVERIFIED
    assert barn.night().judged.conclusion is Conclusion.UNVERIFIED

    accepted = barn.command("preflight", "--accept", "heron:pool")
    assert accepted.status == 0, accepted.out + accepted.err
    assert barn.night().judged.conclusion is Conclusion.CONFORMING


def test_a_volume_on_the_root_filesystem_cannot_be_accepted_in_passing(station: Station) -> None:
    station.declare(ESTATE)
    station.write("kestrel/recordings/take.wav")
    (station.root / "heron").mkdir()

    refused = station.command("preflight", "--accept", "heron:pool")

    assert refused.status == 64
    assert "on_root: true" in refused.err
    findings = dataset_of(station.night(), "field-recordings").findings
    assert any(f.answer is Answer.UNVERIFIED and "heron:pool" in f.id for f in findings)
