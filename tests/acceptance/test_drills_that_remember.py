"""What drills found is not forgotten: damage until it is mended, what was read while it lies there."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from coverage_audit.audits import drill_choice
from coverage_audit.evidence.drilling import DrillOutcome
from coverage_audit.judgement.verdict import Answer, Standing
from tests.builders.drilled_station import declare, drilled, recorded
from tests.builders.trees import flip
from tests.parts.station import Station, copy_of, dataset_of

ORIGINAL, COPY = "kestrel/recordings", "heron/recordings"


def filled(station: Station, files: int = 30, *, every: str = "") -> None:
    """A dataset of small files with its copy, audited."""
    for number in range(files):
        station.write(f"{ORIGINAL}/s{number}", f"take {number}".encode())
    station.mirror(ORIGINAL, COPY)
    declare(station, every=every)
    station.night()


def outstanding(station: Station) -> set[bytes]:
    left = recorded(station)[0].outstanding
    assert left is not None
    return {one.path for one in left}


def test_every_damaged_file_stays_so_until_that_very_file_is_read_back_right(station: Station) -> None:
    filled(station)
    copy = station.root / COPY
    flip(copy / "s2")
    assert drilled(station, "--path", "s2").status == 1
    flip(copy / "s3")
    (copy / "s2").rename(copy / "hidden")  # the next drill finds another one damaged, and cannot read this one
    assert drilled(station, "--path", "s3").status == 1
    shutil.copy2(station.root / ORIGINAL / "s3", copy / "s3")
    station.night()

    ran = drilled(station, "--path", "s1", "--json")

    assert (ran.status, ran.object["outcome"], ran.object["outstanding"]) == (69, "incomplete", 1), ran
    assert outstanding(station) == {b"s2"}, "s3 was read back right; s2 is not held now, which is no cure"
    assert copy_of(station.night(), "field-recordings").standing is Standing.DAMAGED
    (copy / "hidden").rename(copy / "s2")
    station.night()
    assert drilled(station, "--path", "s1").status == 1, "it is damaged still"
    shutil.copy2(station.root / ORIGINAL / "s2", copy / "s2")
    station.night()
    assert drilled(station, "--path", "s1").status == 0
    assert copy_of(station.night(), "field-recordings").standing is Standing.PROVEN


def test_of_more_than_are_read_again_at_once_none_is_forgotten(
    station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(station)
    for number in range(6):
        flip(station.root / COPY / f"s{number}")
    assert drilled(station, *(word for number in range(6) for word in ("--path", f"s{number}"))).status == 1
    monkeypatch.setattr(drill_choice, "_AT_MOST_OLD", 4)
    station.mirror(ORIGINAL, COPY, "--checksum")
    station.night()

    ran = drilled(station, "--path", "s9", "--json")
    assert (ran.status, ran.object["damaged_before"], ran.object["outstanding"]) == (69, 4, 2), ran
    ran = drilled(station, "--path", "s9", "--json")
    assert (ran.status, ran.object["damaged_before"], ran.object["outstanding"]) == (0, 2, 0), ran


@pytest.mark.parametrize("edited", [False, True])
def test_what_is_gone_from_the_original_or_another_version_there_is_outstanding_no_more(
    station: Station, *, edited: bool
) -> None:
    filled(station)
    flip(station.root / COPY / "s2")
    assert drilled(station, "--path", "s2").status == 1
    if edited:
        station.write(f"{ORIGINAL}/s2", b"another take")
    else:
        (station.root / ORIGINAL / "s2").unlink()
    station.night()
    assert drilled(station, "--path", "s1").status == 0
    assert outstanding(station) == set()


def test_damage_found_after_the_audit_is_told_by_every_command_that_rests_on_it(
    station: Station, tmp_path: Path
) -> None:
    filled(station)
    assert (station.called("status").status, station.called("summary").status) == (0, 0)
    flip(station.root / COPY / "s2")
    assert drilled(station, "--path", "s2").status == 1
    news = "field-recordings@heron:pool/recordings was found damaged since"

    status = station.called("status")
    assert status.status != 0
    assert news in " ".join(status.out.split())
    summary = station.called("summary")
    assert "A drill found damage after the last audit" in " ".join(summary.out.split())
    assert news in " ".join(summary.out.split())
    assert "onforming" not in summary.out
    sheet = tmp_path / "sheet.html"
    loss = station.called("loss", "kestrel", "--sheet", str(sheet))
    told = " ".join(loss.out.split())
    assert news in told
    assert "holds it" not in told
    assert "was found damaged since" in sheet.read_text(encoding="utf-8")
    lost = json.loads(station.called("loss", "kestrel", "--json").out)
    assert any("was found damaged since" in said for said in lost["declared_since"])

    shutil.copy2(station.root / ORIGINAL / "s2", station.root / COPY / "s2")
    assert drilled(station).status in {0, 69}
    station.night()
    assert drilled(station).status == 0
    station.night()
    assert news not in station.called("status").out


def test_a_file_by_name_or_too_few_drawn_meet_no_policy_and_show_no_copy(station: Station) -> None:
    filled(station, every="180d")
    for words in (("--path", "s1"), ("--files", "1"), ("--files", "19")):
        assert drilled(station, *words).status == 0
        audited = station.night()
        (finding,) = (one for one in dataset_of(audited, "field-recordings").findings if one.rule == "drill-age")
        assert finding.answer is Answer.NONCONFORMITY
        assert "at least 20 are asked" in finding.message
        assert copy_of(audited, "field-recordings").proof.word == "listed"
    assert drilled(station).status == 0
    audited = station.night()
    (finding,) = (one for one in dataset_of(audited, "field-recordings").findings if one.rule == "drill-age")
    assert finding.answer is Answer.CONFORMITY
    assert copy_of(audited, "field-recordings").proof.word == "restored"


def test_a_copy_that_was_rewritten_since_is_not_restored_any_more(station: Station) -> None:
    """Every file with its size and mtime, and other content: only the ctimes show that it is another copy."""
    filled(station, every="180d")
    assert drilled(station).status == 0
    assert recorded(station)[0].outcome is DrillOutcome.RESTORED
    for number in range(9):
        rewrite(station.root / COPY / f"s{number}")
    assert copy_of(station.night(), "field-recordings").proof.word == "restored", "most of it lies there still"
    for number in range(9, 30):
        rewrite(station.root / COPY / f"s{number}")

    audited = station.night()

    assert copy_of(audited, "field-recordings").proof.word == "listed"
    (finding,) = (one for one in dataset_of(audited, "field-recordings").findings if one.rule == "drill-age")
    assert finding.answer is Answer.CONFORMITY, "that is by date"
    assert "of 20 files that were read back then, 0 lie there as they did" in finding.message


def rewrite(file: Path) -> None:
    """Put another file of the same size and mtime in its place."""
    seen = file.stat()
    file.unlink()
    file.write_bytes(b"?" * seen.st_size)
    os.utime(file, ns=(seen.st_atime_ns, seen.st_mtime_ns))
