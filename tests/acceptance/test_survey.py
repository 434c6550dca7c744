"""What lies on volumes and belongs to no dataset: found, named, declared, or said to be not worth keeping."""

from __future__ import annotations

import base64
import json
import os
from datetime import timedelta

import jsonschema
import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.estate.model import DeviceId
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding
from tests.parts.loops import MakeVolume
from tests.parts.sshd import StartSshd
from tests.parts.station import ORDINARY, Station, answers_of

ESTATE = """\
    sites: {station: {}, barn: {}}
    devices:
      kestrel:
        site: station
        access: local
        volumes:
          main: {path: "{root}/kestrel", medium: hdd, on_root: true}
      heron:
        site: barn
        access: local
        volumes:
          pool: {path: "{root}/heron", medium: hdd, on_root: true}
    policies:
      plain: {copies: 2, max_age: 26h}
    datasets:
      field-recordings:
        policy: plain
        original: kestrel:main/recordings
        copies:
          - at: heron:pool/recordings
    rehearsal: true
    limits: {undeclared_above: 10 kB}
"""


@pytest.fixture
def declared(station: Station) -> Station:
    """A dataset with its copy, nothing else."""
    station.declare(ESTATE)
    station.write("kestrel/recordings/dawn.wav", b"d" * 30_000)
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def the_finding(audited: Audited, volume: str = "kestrel:main") -> Finding:
    return next(f for f in audited.judged.findings if f.id == f"undeclared-data:{volume}")


def test_an_estate_in_which_everything_is_declared_conforms_from_the_first_night(declared: Station) -> None:
    audited = declared.night()
    assert audited.judged.conclusion is Conclusion.CONFORMING
    assert answers_of(audited.judged.findings, "undeclared-data") == {Answer.CONFORMITY}


def test_data_that_no_dataset_claims_is_a_nonconformity_of_the_estate_on_the_first_night(declared: Station) -> None:
    declared.write("kestrel/old projects/letters.txt", b"x" * 12_000)
    audited = declared.night()
    found = the_finding(audited)
    assert found.answer is Answer.NONCONFORMITY
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert "“old projects/”" in found.message
    assert "coverage-audit survey kestrel" in found.mend


def test_what_came_after_a_survey_is_found_by_the_next_which_is_due_in_a_week(declared: Station) -> None:
    assert the_finding(declared.night()).answer is Answer.CONFORMITY
    declared.write("kestrel/unnoticed/scan.tif", b"x" * 12_000)
    declared.pass_time(timedelta(days=1))
    declared.stamp("kestrel/recordings/dawn.wav", timedelta(days=90))
    assert the_finding(declared.night()).answer is Answer.CONFORMITY
    declared.pass_time(timedelta(days=6))
    assert the_finding(declared.night()).answer is Answer.NONCONFORMITY


def test_declaring_it_mends_the_finding_in_the_next_audit(declared: Station) -> None:
    declared.write("kestrel/herbarium/sheet.tif", b"x" * 12_000)
    assert the_finding(declared.night()).answer is Answer.NONCONFORMITY
    declared.declare(
        ESTATE.replace(
            "    rehearsal",
            "      herbarium: {policy: plain, original: kestrel:main/herbarium}\n    rehearsal",
        )
    )
    assert the_finding(declared.night()).answer is Answer.CONFORMITY


def test_what_need_not_be_kept_is_no_finding_and_is_said_with_who_and_why(declared: Station) -> None:
    declared.write("kestrel/cache/tiles.bin", b"x" * 12_000)
    declared.declare(
        ESTATE
        + '    not_kept: [{on: "kestrel:main", names: ["/cache/"], who: Aoife, why: fetched again when needed}]\n'
    )
    assert the_finding(declared.night()).answer is Answer.CONFORMITY
    said = declared.command("survey").out
    assert "Aoife" in said
    assert "fetched again when needed" in said


@pytest.mark.root
def test_a_folder_that_cannot_be_read_and_that_nobody_claims_leaves_the_answer_open(declared: Station) -> None:
    declared.write("kestrel/locked/letters.txt", b"x" * 12_000)
    (declared.root / "kestrel/locked").chmod(0)
    ran = declared.command("audit", "--json", prefix=ORDINARY)
    found = next(f for f in ran.object["findings"] if f["id"] == "undeclared-data:kestrel:main")
    assert found["answer"] == "unverified"
    assert "“locked”" in found["message"]
    assert ran.object["conclusion"] == "unverified"


@pytest.mark.root
def test_an_unreadable_folder_inside_a_dataset_is_not_held_against_the_survey(declared: Station) -> None:
    declared.write("kestrel/recordings/locked/letters.txt", b"x" * 12_000)
    (declared.root / "kestrel/recordings/locked").chmod(0)
    ran = declared.command("audit", "--json", prefix=ORDINARY)
    found = next(f for f in ran.object["findings"] if f["id"] == "undeclared-data:kestrel:main")
    assert found["answer"] == "conformity"


def test_the_survey_is_one_json_object_after_its_published_schema_and_its_figures_add_up(declared: Station) -> None:
    declared.write("kestrel/evil\n\x1b[31mname/letters.txt", b"x" * 500)
    declared.write("kestrel/Thumbs.db", b"x" * 7)
    declared.write(os.fsdecode(b"kestrel/\xff\xfe/scan.tif"), b"x" * 300)
    ran = declared.command("survey", "kestrel", "--json")
    told = ran.object
    schema = json.loads((defaults_folder() / "survey.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(told)
    (volume,) = told["volumes"]
    assert volume["claimed"]["bytes"] == 30_000
    assert volume["unclaimed"]["bytes"] == 800
    assert volume["litter"]["bytes"] == 7
    assert volume["total"]["bytes"] == sum(cell["bytes"] for cell in volume["cells"]) == 30_807
    named = [base64.b64decode(one["folder_bytes"]) for one in volume["unclaimed_folders"]]
    assert named == [b"evil\n\x1b[31mname", b"\xff\xfe"]


def test_hostile_names_do_not_reach_the_terminal(declared: Station) -> None:
    declared.write("kestrel/evil\n\x1b[31mname/letters.txt", b"x" * 500)
    ran = declared.command("survey")
    assert "\x1b" not in ran.out
    assert r"evil\n\x1b[31mname/" in ran.out
    assert all(len(line) <= 100 for line in ran.out.splitlines())


def test_the_draft_loads_as_it_is_and_leaves_only_what_no_address_can_name(declared: Station) -> None:
    names = [
        "old projects",
        'quo"te: {x} # y',
        "Ünïcode",
        "- dash",
        "true",
        "123",
        "{point}",
        "evil\nname",
        "a\\b",
    ]
    for name in names:
        declared.write(f"kestrel/{name}/letters.txt", b"x" * 1000)
    declared.write("kestrel/loose.iso", b"x" * 2000)
    before = declared.estate_file.read_text()
    drafted = declared.command("survey", "--draft").out
    assert declared.estate_file.read_text() == before
    declared.estate_file.write_text(drafted)
    originals = {dataset.original.path for dataset in declared.estate.datasets}
    assert originals == {"recordings", *names} - {"{point}", "evil\nname"}
    told = declared.command("survey", "kestrel", "--json").object["volumes"]
    left = next(volume for volume in told if volume["volume"] == "kestrel:main")
    assert left["unclaimed"]["bytes"] == 2000 + 2 * 1000
    assert "# kestrel:main: {point}: 1 file (1.0 kB)" in drafted


def test_without_any_estate_a_first_one_is_drafted_that_loads(station: Station) -> None:
    ran = station.command("survey", "--draft")
    assert ran.status == 0
    assert not station.estate_file.exists()
    station.estate_file.write_text(ran.out)
    assert station.estate.devices[0].volumes


def test_a_device_that_is_not_declared_is_named_with_the_nearest(declared: Station) -> None:
    ran = declared.command("survey", "kestrl")
    assert ran.status == 64
    assert "did you mean 'kestrel'?" in ran.err


@pytest.mark.root
def test_a_filesystem_that_no_volume_declares_is_found_and_drafted(declared: Station, make_volume: MakeVolume) -> None:
    new = make_volume(declared.root / "new share", size=32)
    (new.folder / "photos.bin").write_bytes(b"x" * 5_000_000)
    declared.estate_file.write_text(declared.estate_file.read_text().replace("rehearsal: true", "rehearsal: false"))
    audited = declared.night()
    observed = [f for f in audited.judged.findings if f.answer is Answer.OBSERVATION and str(new.folder) in f.message]
    assert len(observed) == 2  # both devices are this machine
    ran = declared.command("survey", "kestrel", "--draft")
    declared.estate_file.write_text(ran.out)
    drafted = {volume.path for volume in declared.estate.device(DeviceId("kestrel")).volumes}
    assert str(new.folder) in drafted
    again = declared.command("survey", "kestrel", "--json").object
    assert str(new.folder) not in {found["target"] for found in again["filesystems"]}
    assert any(volume["unclaimed"]["bytes"] >= 5_000_000 for volume in again["volumes"])


@pytest.mark.root
def test_the_survey_stays_on_the_volumes_own_filesystem(declared: Station, make_volume: MakeVolume) -> None:
    inner = make_volume(declared.root / "kestrel/inner", size=16)
    (inner.folder / "photos.bin").write_bytes(b"x" * 1_000_000)
    told = declared.command("survey", "kestrel", "--json").object
    (volume,) = told["volumes"]
    assert volume["total"]["bytes"] == 30_000
    assert str(inner.folder) in {found["target"] for found in told["filesystems"]}


def test_a_box_over_ssh_is_surveyed_as_this_machine_is(declared: Station, start_sshd: StartSshd) -> None:
    declared.write("heron/evil\nname/letters.txt", b"x" * 12_000)
    here = declared.command("survey", "heron", "--json").object["volumes"]
    box = start_sshd().access
    access = (
        f'{{ssh: "{box.user}@127.0.0.1:{box.port}", identity_file: "{box.identity_file}", '
        f'known_hosts: "{box.known_hosts}", config_file: "{box.config_file}"}}'
    )
    declared.declare(ESTATE.replace("site: barn\n        access: local", f"site: barn\n        access: {access}"))
    there = declared.command("survey", "heron", "--json").object["volumes"]
    assert there[0]["cells"] == here[0]["cells"]
    assert there[0]["unclaimed"]["bytes"] == 12_000
