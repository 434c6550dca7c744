"""Folders that vanished, originals that shrank away, datasets whose every file is left out."""

from __future__ import annotations

import shutil
from datetime import timedelta

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Station, copy_of, dataset_of


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(40):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def test_a_copys_folder_that_vanished_from_its_pinned_volume_is_proven_to_lack_everything(recorded: Station) -> None:
    recorded.night()
    shutil.rmtree(recorded.root / "heron/recordings")

    audited = recorded.night()

    assert copy_of(audited, "field-recordings").standing is Standing.INCOMPLETE
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    exposure = dataset_of(audited, "field-recordings").exposure
    assert exposure is not None
    assert exposure.files == 40


def test_a_copy_that_comes_back_is_proven_again(recorded: Station) -> None:
    shutil.rmtree(recorded.root / "heron/recordings")
    recorded.night()
    recorded.mirror("kestrel/recordings", "heron/recordings")

    assert copy_of(recorded.night(), "field-recordings").standing is Standing.PROVEN


def test_an_original_that_vanished_is_never_taken_for_an_empty_one(recorded: Station) -> None:
    recorded.night()
    shutil.rmtree(recorded.root / "kestrel/recordings")

    audited = recorded.night()

    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
    assert audited.judged.conclusion is not Conclusion.CONFORMING
    copy = copy_of(audited, "field-recordings")
    assert copy.comparison is not None, "it is judged against the last complete manifest, as of then"
    assert copy.comparison.same.files == 40


def test_an_original_that_shrank_away_stays_doubted_on_the_nights_after_until_its_owner_accepts_it(
    recorded: Station,
) -> None:
    recorded.night()
    for number in range(2, 40):
        (recorded.root / f"kestrel/recordings/take-{number}.wav").unlink()
    recorded.mirror("kestrel/recordings", "heron/recordings")

    for _ in range(3):
        audited = recorded.night()
        assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED
        assert audited.judged.conclusion is not Conclusion.CONFORMING
        recorded.pass_time(timedelta(minutes=1))

    assert recorded.command("preflight", "--accept", "kestrel:main").status == 0
    assert recorded.night().judged.conclusion is Conclusion.CONFORMING


def test_a_dataset_whose_every_file_is_left_out_is_covered_by_nothing(recorded: Station) -> None:
    text = recorded.estate_file.read_text() + '    leave_out: ["*.wav"]\n'
    recorded.estate_file.write_text(text)

    audited = recorded.night()

    assert dataset_of(audited, "field-recordings").conclusion is not Conclusion.CONFORMING


def test_what_is_left_out_is_counted_and_shown(recorded: Station) -> None:
    recorded.write("kestrel/recordings/scratch.tmp", bytes(77))
    recorded.estate_file.write_text(recorded.estate_file.read_text() + '    leave_out: ["*.tmp"]\n')

    ran = recorded.command("audit", "--json")

    assert ran.status == 0, ran.err
    assert ran.object["datasets"][0]["copies"][0]["left_out"]["files"] == 1
    assert ran.object["datasets"][0]["copies"][0]["missing"]["files"] == 0


@pytest.mark.parametrize(("off", "standing"), [(2, Standing.PROVEN), (4, Standing.UNVERIFIED)])
def test_a_device_that_may_be_off_is_judged_by_earlier_evidence_while_that_is_young_enough(
    recorded: Station, off: int, standing: Standing
) -> None:
    local = "        site: barn\n        access: local"
    text = recorded.estate_file.read_text()
    recorded.night()
    access = (
        "        site: barn\n        may_be_off: 3d\n"
        "        access: {ssh: auditor@127.0.0.1:9, identity_file: /nonexistent, known_hosts: /nonexistent}"
    )
    assert local.replace("        ", "    ") in text
    recorded.estate_file.write_text(text.replace(local.replace("        ", "    "), access.replace("        ", "    ")))
    recorded.pass_time(timedelta(days=off))

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is standing
