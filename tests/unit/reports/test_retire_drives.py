"""A drive that is to be retired: what the text, the JSON and the dossier say of it beside the verdict."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from coverage_audit.audits.retirement import Retirement
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.reports.dossier import dossier_page
from coverage_audit.reports.retire_json import retire_json
from coverage_audit.reports.retire_text import retire_text
from coverage_audit.scenarios.drive_out import ArrayState
from tests.builders.judged import an_estate
from tests.builders.losses import a_drive_out
from tests.builders.page_reader import Seen
from tests.builders.retirements import a_retirement, a_retirement_of_drives

HOSTILE = "\x1b[2J\n\u202e<script>"


def text(found: Retirement) -> str:
    return " ".join(retire_text(found).split())


def page(found: Retirement) -> str:
    return " ".join(" ".join(Seen(dossier_page(found, an_estate())).text).split()).replace("\xa0", " ")


def an_array(stands: int, wrong: str = "") -> ArrayState:
    return replace(a_drive_out().array, stands=stands, wrong=wrong)


@pytest.mark.parametrize("told", [text, page], ids=["text", "dossier"])
def test_the_figures_of_the_drive_stand_beside_a_verdict_on_the_whole_volume(told: object) -> None:
    assert callable(told)
    said = told(a_retirement_of_drives(a_drive_out()))
    for needed in (
        "heron:pool while drive 3 is out",
        'The verdict "not clear" is for all that is on heron:pool, as if the whole volume was lost',
        "it stands the loss of drive 3: by that alone nothing is lost",
        "Usable, without it",
        "Usable, replaced",
        "28.0 TB",
        "Until it is made up",
        "A rebuild takes",
        "Something cannot be read",
        "A further drive fails",
        "at most",
        "6.2 years, past 5 years of service",
        "ledgers at heron:",
        "Sizes are decimal",
    ):
        assert needed in said, needed


def test_two_drives_that_one_volume_does_not_stand_at_once_are_not_each_harmless() -> None:
    first = replace(a_drive_out(), array=an_array(1))
    found = a_retirement_of_drives(first, replace(first, number=4))
    assert "it does not stand the loss of drives 3 and 4 at once: all that is on it is lost" in text(found)
    assert "by that alone nothing is lost" not in text(found)
    assert [one["stood"] for one in json.loads(retire_json(found))["drives"]] == [False, False]
    both = replace(first, array=an_array(2))
    assert "it stands the loss of drives 3 and 4 at once" in text(a_retirement_of_drives(both, replace(both, number=4)))


def test_a_volume_that_stands_no_loss_and_one_that_is_no_array_say_so() -> None:
    alone = replace(a_drive_out(), array=an_array(0), risk=None, replaced=None, at_stake=())
    said = text(a_retirement_of_drives(alone))
    assert "it does not stand the loss of drive 3: all that is on it is lost" in said
    assert "Each dataset on it has a proven copy elsewhere" in said
    assert "With --replace OLD=NEW" in said
    wrong = replace(alone, array=an_array(0, "a mirror needs at least two drives"))
    said = text(a_retirement_of_drives(wrong))
    assert "whether it stands the loss of drive 3 cannot be said" in said
    assert "all that is on it is lost" not in said


def test_the_object_agrees_with_its_schema() -> None:
    schema = json.loads((defaults_folder() / "retire.schema.json").read_text(encoding="utf-8"))
    check = jsonschema.Draft202012Validator(schema)
    bare = replace(a_drive_out(), risk=None, replaced=None)
    for found in (a_retirement(), a_retirement_of_drives(a_drive_out()), a_retirement_of_drives(bare)):
        check.validate(json.loads(retire_json(found)))
    (drive,) = json.loads(retire_json(a_retirement_of_drives(a_drive_out())))["drives"]
    assert set(drive) == set(schema["$defs"]["drive"]["properties"])
    assert (drive["number"], drive["out_together"], drive["stood"]) == (3, [3], True)
    assert json.loads(retire_json(a_retirement()))["drives"] == []


def test_hostile_reasons_stay_text() -> None:
    drive = a_drive_out()
    found = a_retirement_of_drives(replace(drive, at_stake=(replace(drive.at_stake[0], why=HOSTILE),)))
    for out in (retire_text(found), dossier_page(found, an_estate()), retire_json(found)):
        assert "\x1b" not in out
        assert "\u202e" not in out
    assert "<script>" not in dossier_page(found, an_estate())
