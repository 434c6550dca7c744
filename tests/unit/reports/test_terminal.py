"""The audit as text for a terminal."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from coverage_audit.evidence.facts import GapKind
from coverage_audit.reports.terminal import audit_text
from tests.builders.judged import a_copy, a_dataset, a_finding, a_gap, address, an_estate, judged
from tests.builders.judged_station import the_station

LONG = "mirror/" + "a-very-long-folder-name-" * 8 + "end"
COLOUR = re.compile(r"\x1b\[[0-9;]*m")


def station(*, width: int = 100, colour: bool = False) -> str:
    whole, _, since = the_station()
    return audit_text(whole, width=width, colour=colour, since=since)


def test_it_begins_with_the_conclusion_and_ends_with_a_newline() -> None:
    text = station(width=200)
    assert text.startswith("Nonconforming: 2 of 12 datasets are not covered as demanded")
    assert text.endswith("\n")


def test_it_tells_in_the_order_in_which_one_asks() -> None:
    text = station()
    parts = [
        "What is not as it must be",
        "herbarium-scans: nonconforming, since 2026-11-22",
        "At stake: 1 204 files (3.4 GB)",
        "Do first:",
        "Datasets and their copies",
        "Findings",
        "[completeness:herbarium-scans@heron:pool/mirror/herbarium-scans]",
        "What could not be observed",
    ]
    found = [text.index(part) for part in parts]
    assert found == sorted(found)


def test_the_name_of_each_open_finding_stands_alone_on_its_line() -> None:
    lines = [line.strip() for line in station(width=40).splitlines()]
    whole, _, _ = the_station()
    for dataset in whole.datasets:
        for finding in dataset.findings:
            assert (f"[{finding.id}]" in lines) is (finding.answer != "conformity")


@pytest.mark.parametrize("width", [10, 40, 80, 200])
def test_no_path_is_cut_at_any_width(width: int) -> None:
    copy = a_copy(an_estate(), address("heron", LONG))
    text = audit_text(judged((a_dataset("maps", (copy,)),)), width=width, colour=False, since={})
    assert f"heron:pool/{LONG}" in text


def test_plain_text_has_no_escape_and_colour_changes_no_word() -> None:
    plain, coloured = station(), station(colour=True)
    assert "\x1b" not in plain
    assert "\x1b[" in coloured
    assert COLOUR.sub("", coloured) == plain


def test_hostile_text_reaches_no_terminal() -> None:
    copy = a_copy(an_estate(), address("heron", "x\x1b]0;owned\x07\n\u202e"), reason="\x1b[2J", remarks=("\x9b31m",))
    finding = replace(a_finding("age", "x"), message="\x1b[8m", mend="a\rb", measured="\x00")
    whole = judged(
        (a_dataset("maps", (copy,), findings=(finding,)),),
        findings=(finding,),
        gaps=(a_gap("h\x1b[2J", GapKind.CUT, "\x07"),),
    )
    text = audit_text(whole, width=80, colour=False, since={})
    assert all(line.isprintable() for line in text.split("\n"))


def test_what_conforms_is_counted_and_not_listed() -> None:
    assert "25 findings conform." in station()


def test_the_point_without_the_few_that_stick_out_stands_beside() -> None:
    copy = a_copy(an_estate(), address("heron", "maps"))
    assert copy.recovery_point is not None
    copy = replace(copy, recovery_point=copy.recovery_point.replace(year=2011))
    text = audit_text(judged((a_dataset("maps", (copy,)),)), width=300, colour=False, since={})
    assert "back to 2011-11-24 06:31 GMT" in text
    assert "(to 2026-11-24 06:31 GMT without the few files that stick out)" in text
