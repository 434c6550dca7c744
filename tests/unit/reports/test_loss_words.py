"""What is lost, in words and as JSON: whole, harmless, of the published schema."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import jsonschema
import pytest

from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.judgement.domains import shared_domain
from coverage_audit.reports.loss_json import loss_json
from coverage_audit.reports.loss_text import loss_text
from coverage_audit.reports.loss_words import count_said, least_said, time_said
from coverage_audit.scenarios.cut_set import CutMember, CutSet, DatasetCuts
from coverage_audit.scenarios.loss import Fate, LossTable
from tests.builders.losses import a_table, hostile_table, kestrel_gone, the_estate

HOSTILE = "\x1b[2J\n\u202e\udcff"


def said(table: LossTable, width: int = 100) -> str:
    return loss_text(table, the_estate(), width=width, colour=False)


def test_all_failures_stand_one_to_a_line_with_what_each_does() -> None:
    out = " ".join(said(a_table()).split())

    assert "Single failures, the worst first" in out
    assert "kestrel: ledgers lost whole" in out
    assert "The fewest failures that lose each dataset" in out
    assert "What is assumed" in out


def test_one_failure_tells_of_each_dataset_where_it_comes_back_from_and_when() -> None:
    out = " ".join(said(replace(a_table(), losses=(kestrel_gone(),), cuts=())).split())

    assert "With the device kestrel gone 1 dataset is lost whole." in out
    assert "Best copy: heron" in out
    assert "It falls back to:" in out
    assert "Back in: at least" in out
    assert "In this order:" in out


@pytest.mark.parametrize("width", [40, 72, 100])
def test_no_line_is_cut_and_none_ends_in_a_blank(width: int) -> None:
    lines = said(a_table(), width).splitlines()

    assert not [line for line in lines if line != line.rstrip()]
    assert max(len(line) for line in lines if " " in line.strip() and not line.startswith("-")) <= max(width, 40) + 20


def test_it_reads_well_aloud() -> None:
    out = said(a_table())

    assert not set(out) & set("│─┌┐└┘▶•→|")


def test_a_set_that_is_not_certain_says_so() -> None:
    doubtful = CutSet(members=(CutMember(domains=(shared_domain("room", "lab"),)),), certain=False)
    cuts = DatasetCuts(dataset=a_table().cuts[0].dataset, shown=True, sets=(doubtful,), at_most=3, not_counted=())
    out = " ".join(said(replace(a_table(), cuts=(cuts,))).split())

    assert "not shown to survive one failure" in out
    assert "room=lab (not for sure" in out


def test_names_are_shown_harmlessly() -> None:
    table = hostile_table(HOSTILE)

    for out in (said(table), said(replace(table, losses=table.losses[:1])), loss_json(table)):
        assert "\x1b" not in out
        assert "\u202e" not in out
        assert "\udcff" not in out


def test_the_json_is_of_its_published_schema_and_names_units_by_their_keys() -> None:
    schema = json.loads((defaults_folder() / "loss.schema.json").read_text(encoding="utf-8"))
    found = json.loads(loss_json(a_table()))

    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(found, schema)
    assert found["schema"] == "coverage-audit/loss/1"
    assert set(found) == set(schema["required"])
    assert {one["fate"] for loss in found["losses"] for one in loss["datasets"]} >= {"lost", "held", "falls_back"}


@pytest.mark.parametrize("fate", list(Fate))
def test_what_meets_a_fate_is_named_whether_one_or_many(fate: Fate) -> None:
    assert "1 dataset" in count_said(fate, 1)
    assert "3 datasets" in count_said(fate, 3)


@pytest.mark.parametrize(
    ("span", "shown", "said"),
    [
        (timedelta(milliseconds=20), True, "under 1 s"),
        (timedelta(milliseconds=20), False, "under 1 s at best"),
        (timedelta(minutes=11, seconds=5), True, "about 11 min"),
        (timedelta(seconds=1), False, "at least 1 s"),
    ],
)
def test_a_time_has_one_bound_and_not_two(*, span: timedelta, shown: bool, said: str) -> None:
    known = next(one.restore for one in kestrel_gone().datasets if one.restore and one.restore.time)
    assert known.time is not None
    restore = replace(known, time=replace(known.time, time=span), shown=shown)

    assert time_said(restore) == said
    assert shown or least_said(span) == said
