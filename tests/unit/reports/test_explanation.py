"""One finding explained."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from coverage_audit.evidence.difference import Tally
from coverage_audit.reports.explanation import explain_text
from tests.builders.judged import DUBLIN, NOW, STARTED, a_comparison, a_finding, a_sample, an_item

DOC = """Whether the copies are enough.

    Asks: how many proven copies are shown apart,
    the original included.
    """
FINDING = replace(a_finding("copies", "herbarium-scans"), evidence=(an_item(), an_item("the second thing")))


def explained(width: int = 100) -> str:
    return explain_text(
        FINDING,
        DOC,
        since=NOW - timedelta(days=3),
        audited=STARTED,
        zone=DUBLIN,
        comparison=a_comparison(missing=Tally(files=2, bytes=9_000), samples=(a_sample(b"a\nb"),)),
        width=width,
    )


def test_it_says_what_was_asked_found_seen_and_how_to_mend_it() -> None:
    text = explained()
    parts = (
        "nonconformity",
        "[copies:herbarium-scans]",
        "It began 2 days 23 h ago",
        "Measured: 2 copies",
        "Required: 3 copies",
        "1. 18 204 files listed. Where: heron:pool/mirror. How: gnu find over SSH, at 2026-11-25 04:10 GMT.",
        "2. the second thing",
        "missing from the copy             2 files (9.0 kB)",
        r"a\nb (missing, counts",
        "Start the copy to heron again",
        "Asks: how many proven copies are shown apart, the original included.",
        "Control: supports evidence for ISO/IEC 27002:2022 8.13",
    )
    found = [text.index(part) for part in parts]
    assert found == sorted(found)


def test_a_finding_without_evidence_says_that_there_is_none() -> None:
    text = explain_text(replace(FINDING, evidence=()), DOC, since=None, audited=STARTED, zone=DUBLIN)
    assert "None was at hand" in text
    assert "It began" not in text


def test_hostile_figures_and_names_stay_visible_text() -> None:
    text = explain_text(
        replace(FINDING, message="\x1b[2J", mend="\x07", evidence=(an_item("\x9b", "\x1b"),)),
        DOC,
        since=None,
        audited=STARTED,
        zone=DUBLIN,
        comparison=a_comparison(samples=(a_sample(b"\x1b]0;x\x07\xff"),)),
        width=40,
    )
    assert all(line.isprintable() for line in text.split("\n"))
