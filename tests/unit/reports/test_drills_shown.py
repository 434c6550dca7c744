"""The last drill of a copy: on the terminal, in JSON, on both pages, and what `drill` itself prints."""

from __future__ import annotations

import base64
import json
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import jsonschema
import pytest

from coverage_audit.audits.drilling import Drilled
from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import DrillOutcome, DrillsOfCopy, Fate, Incident, Outstanding
from coverage_audit.judgement.drilled import in_words
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.reports.as_json import audit_json
from coverage_audit.reports.drill import by_hand_text, drill_json, drill_text
from coverage_audit.reports.page import audit_page
from coverage_audit.reports.terminal import audit_text
from coverage_audit.reports.weekly import weekly_page
from tests.builders.drills import a_drill, by_hand, drills
from tests.builders.judged import NOW, a_copy, a_dataset, address, an_estate, judged
from tests.builders.page_reader import Seen

DUBLIN = ZoneInfo("Europe/Dublin")
HOSTILE = b"<script>\x1b[2J\n\xff"


def with_drills(known: DrillsOfCopy | None) -> JudgedEstate:
    copy = a_copy(an_estate(), address("heron", "mirror"))
    copy = replace(copy, evidence=replace(copy.evidence, drills=known), drill=in_words(known, DUBLIN))
    return judged((a_dataset("maps", (copy,)),))


def printed(whole: JudgedEstate) -> Any:
    loaded = json.loads(audit_json(whole))
    schema = json.loads((defaults_folder() / "audit.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(loaded)
    return loaded["datasets"][0]["copies"][0]["drill"]


@pytest.mark.parametrize(
    ("known", "said"),
    [
        (None, ""),
        (drills(), ""),
        (drills(a_drill(2)), "2026-11-23, 20 of 20 files restored, 100 MB a second"),
        (drills(a_drill(2, read=1000)), "2026-11-23, 20 of 20 files restored"),
        (drills(a_drill(2, DrillOutcome.DAMAGED)), "2026-11-23, found 1 of 20 files damaged, 100 MB a second"),
        (drills(a_drill(2, DrillOutcome.INCOMPLETE)), "2026-11-23, showed too little (0 of 20 files restored)"),
        (drills(by_hand(2)), "by hand on 2026-11-23, by word of R. Byrne (declared, not measured)"),
        (drills(by_hand(9), a_drill(2)), "2026-11-23, 20 of 20 files restored, 100 MB a second"),
    ],
)
def test_the_last_drill_is_said_in_one_line_wherever_the_copy_is(known: DrillsOfCopy | None, said: str) -> None:
    whole = with_drills(known)
    assert in_words(known, DUBLIN).startswith(said)
    text = " ".join(audit_text(whole, width=1000, colour=False, since={}).split())
    page = audit_page(whole, an_estate(whole.datasets), since={}, now=whole.finished)
    week = weekly_page(
        whole, an_estate(whole.datasets), LookBack(since=NOW, until=NOW), since={}, week_from=NOW, now=NOW
    )
    assert (f"; drill: {said}" in text) is bool(said)
    for told in (page, week):
        words = " ".join(" ".join(Seen(told).text).split())
        assert (f"drill {said}" in words) is bool(said)


def test_its_figures_are_in_the_json_and_null_where_nothing_is_known() -> None:
    assert printed(with_drills(None)) is None
    told = printed(with_drills(drills(by_hand(9), a_drill(5), a_drill(2, DrillOutcome.DAMAGED))))
    assert told["newest"]["outcome"] == "damaged"
    assert told["damaged"] == told["newest"]
    assert told["restored"]["bytes_per_second"] == 100_000_000
    assert told["by_hand"]["who"] == "R. Byrne"
    mended = printed(with_drills(drills(a_drill(5, DrillOutcome.DAMAGED), a_drill(2))))
    assert mended["damaged"] is None


def by_schema(text: str) -> Any:
    loaded = json.loads(text)
    schema = json.loads((defaults_folder() / "drill.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(loaded)
    return loaded


def test_the_command_says_what_came_back_and_escapes_every_name() -> None:
    spoilt = Incident(path=HOSTILE, fate=Fate.DAMAGED, why="\x1b[31m")
    drill = a_drill(0, DrillOutcome.DAMAGED, incidents=(spoilt,) * 30, point="2026\x1b", named=1, unheld=2)
    left = tuple(Outstanding(path=name) for name in (HOSTILE, b"a", b"b"))
    drill = replace(drill, drawn=19, again=2, outstanding=left)
    drilled = Drilled(drill=drill, held=41_312, passed_over=("shelf-b:drive is not plugged in",), is_encrypted=True)
    text = drill_text(drilled, DUBLIN)
    for part in (
        "passed over: shelf-b:drive is not plugged in",
        "19 files drawn from 41 312, 1 file named and 2 files that a drill found damaged before",
        "restored 19 files (9 B), 20 by their originals as they are now",
        "1 file damaged (7 B): held, and not what they should be",
        "2 files that drills found damaged before came back right in none since",
        "2 files not counted: nothing to hold them against",
        "3.0 GB read over SFTP in 30.0 s: 100 MB a second",
        "that it can be opened is not shown",
        "and 10 more",
        "DAMAGED",
    ):
        assert part in text
    assert "\x1b" not in text
    loaded = by_schema(drill_json(drill, drilled))
    assert base64.b64decode(loaded["incidents"][0]["path_bytes"]) == HOSTILE
    assert "\x1b" not in drill_json(drill, drilled)


def test_where_all_was_damaged_nothing_says_that_it_was_held_against_nothing() -> None:
    drill = a_drill(0, DrillOutcome.DAMAGED, restored=Tally(), by_originals=0, drawn=0, drawn_back=0, named=1)
    text = drill_text(Drilled(drill=drill, held=20), DUBLIN)
    assert "1 file named\n" in text
    assert "restored 0 files (0 B)\n" in text
    assert "not held" not in text
    assert "against anything" not in text


def test_a_drill_of_named_files_alone_says_that_it_is_none_of_the_copy() -> None:
    drill = a_drill(0, drawn=0, drawn_back=0, named=20)
    text = drill_text(Drilled(drill=drill, held=3000), DUBLIN)
    assert "no drill of the copy as a whole: 0 files drawn at random, 0 restored, and at least 20 are asked" in text
    assert by_schema(drill_json(drill))["random"] is False
    assert "as a whole" not in drill_text(Drilled(drill=a_drill(0), held=3000), DUBLIN)


def test_what_was_too_little_to_tell_a_rate_says_so() -> None:
    text = drill_text(Drilled(drill=a_drill(0, read=1000), held=20), DUBLIN)
    assert "1.0 kB read over SFTP in 30.0 s: less than 4.2 MB, too little to tell a rate" in text


def test_a_drill_by_hand_is_said_to_be_declared() -> None:
    text = by_hand_text(replace(by_hand(0), who="R.\x1b Byrne"), DUBLIN)
    assert "by hand, by word of R.\\x1b Byrne: the spring of 2024, played" in text
    assert "declared, not measured" in text
    assert by_schema(drill_json(by_hand(0)))["who"] == "R. Byrne"
