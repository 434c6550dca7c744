"""The ordinary night: everything is right, and then one thing at a time is not."""

from __future__ import annotations

from datetime import timedelta

import pytest

from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from tests.parts.station import Station, answers_of, copy_of, dataset_of, failing_rules

ESTATE = """
    rehearsal: true
    sites:
      station: {name: Field station}
      barn: {name: Long Barn}
    devices:
      kestrel:
        site: station
        access: local
        volumes: {main: {path: "{root}/kestrel", medium: hdd}}
      heron:
        site: station
        access: local
        volumes: {pool: {path: "{root}/heron", medium: hdd}}
      shelf-b:
        site: barn
        access: local
        volumes: {drive: {path: "{root}/shelf-b", medium: ssd}}
    policies:
      three-two-one: {copies: 3, media: 2, offsite: 1, max_age: 26h}
    datasets:
      field-recordings:
        policy: three-two-one
        original: kestrel:main/recordings
        copies:
          - at: heron:pool/recordings
          - at: shelf-b:drive/recordings
"""


@pytest.fixture
def in_order(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(40):
        station.write(f"kestrel/recordings/{number % 4}/take-{number}.wav", bytes([number]) * (100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    station.mirror("kestrel/recordings", "shelf-b/recordings")
    return station


def test_everything_right_is_conforming(in_order: Station) -> None:
    ran = in_order.command("audit", "--json")

    assert ran.status == 0, ran.err
    assert ran.object["schema"] == "coverage-audit/audit/1"
    assert ran.object["conclusion"] == "conforming"
    (dataset,) = ran.object["datasets"]
    assert [copy["standing"] for copy in dataset["copies"]] == ["proven", "proven"]
    assert dataset["original"]["files"] == 40
    assert dataset["exposure"]["files"] == 0


def test_the_same_on_the_terminal_says_so_in_its_first_line(in_order: Station) -> None:
    ran = in_order.command("audit")

    assert ran.status == 0, ran.err
    assert "rehearsal" in ran.out.lower()
    assert "Conforming: 1 dataset" in ran.out.splitlines()[0]


# 3-2-1 after US-CERT, "Data Backup Options" (2012): three copies, two media, one of them offsite.
@pytest.mark.parametrize(
    ("lost", "rules"),
    [("heron/recordings", {"enough-copies"}), ("shelf-b/recordings", {"enough-copies", "media", "offsite"})],
)
def test_take_any_one_copy_away_and_exactly_the_right_rules_fail(in_order: Station, lost: str, rules: set[str]) -> None:
    in_order.night()
    for file in sorted((in_order.root / lost).rglob("*"), reverse=True):
        file.unlink() if file.is_file() else file.rmdir()

    audited = in_order.night()

    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    criteria = {"enough-copies", "media", "offsite", "offline"}
    assert failing_rules(audited, "field-recordings") & criteria == rules


def test_an_empty_copy_of_a_dataset_that_is_one_minute_old_is_incomplete(station: Station) -> None:
    station.declare(ESTATE)
    station.write("kestrel/recordings/take.wav", age=timedelta(minutes=1))
    (station.root / "heron/recordings").mkdir(parents=True)
    (station.root / "shelf-b/recordings").mkdir(parents=True)

    audited = station.night()

    assert copy_of(audited, "field-recordings").standing is Standing.INCOMPLETE
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.NONCONFORMING


def test_an_original_that_is_empty_is_covered_by_nothing(in_order: Station) -> None:
    in_order.night()
    for file in sorted((in_order.root / "kestrel/recordings").rglob("*"), reverse=True):
        file.unlink() if file.is_file() else file.rmdir()

    audited = in_order.night()

    assert dataset_of(audited, "field-recordings").conclusion is not Conclusion.CONFORMING
    assert dataset_of(audited, "field-recordings").original.standing is Standing.UNVERIFIED


def test_a_time_to_restore_that_nothing_has_measured_is_unverified_and_said(in_order: Station) -> None:
    text = in_order.estate_file.read_text().replace("max_age: 26h", "max_age: 26h, restore_within: 4h")
    in_order.estate_file.write_text(text)

    ran = in_order.command("audit", "--json")

    assert ran.status == 69, ran.err
    findings = ran.object["datasets"][0]["findings"]
    assert any(finding["rule"] == "restore-time" and finding["answer"] == "unverified" for finding in findings)


def test_only_the_datasets_named_are_audited(in_order: Station) -> None:
    audited = in_order.night("field-recordings")

    assert audited.judged.conclusion is Conclusion.CONFORMING
    assert answers_of(dataset_of(audited, "field-recordings").findings, "enough-copies") == {Answer.CONFORMITY}


def test_a_dataset_that_is_not_declared_is_named_with_the_nearest_one(in_order: Station) -> None:
    ran = in_order.command("audit", "field-recording")

    assert ran.status == 64
    assert "did you mean 'field-recordings'" in ran.err
    assert "Traceback" not in ran.err
