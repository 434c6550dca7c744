"""Names that would break something, all the way: walk, store, compare, JSON, terminal, page."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import Station, copy_of

NAMES = [
    b"two\nlines",
    b"a\ttab",
    b"a 'single' and a \"double\" quote",
    b"-rf",
    b"$(reboot)",
    b"`reboot`;reboot|reboot",
    b"<script>document.title='taken'<!--",
    b"\xff\xfe not utf-8",
    "\u202egnp.exe\u202c right to left".encode(),
    b"\x1b[2J\x1b]0;taken\x07 escapes",
    b"E 0123456789abcdef 0",
    b"back\\slash and 100% and {braces}",
    b"%s%n%d",
    "caf\u00e9 composed".encode(),
    "cafe\u0301 decomposed".encode(),
    b" leading and trailing blanks ",
    b"f 0 1700000000.0000000000 forged",
]


@pytest.fixture
def hostile(station: Station) -> Station:
    station.declare(ESTATE)
    root = bytes(station.root / "kestrel/recordings")
    for folder in (b"", b"/folder \n<b>\xff"):
        Path(os.fsdecode(root + folder)).mkdir(parents=True, exist_ok=True)
        for name in NAMES:
            Path(os.fsdecode(root + folder + b"/" + name)).write_bytes(name)
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def test_hostile_names_are_held_like_any_others(hostile: Station) -> None:
    audited = hostile.night()

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.same.files == 2 * len(NAMES)
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_every_output_names_them_unharmed_and_harmless(hostile: Station) -> None:
    hostile.night()
    for name in NAMES:
        (hostile.root / "heron/recordings" / os.fsdecode(name)).unlink()
    page = hostile.root / "page.html"

    printed = hostile.command("audit", "--html", str(page))
    as_json = hostile.command("audit", "--json")

    assert printed.status == as_json.status == 1, printed.err + as_json.err
    missing = as_json.object["datasets"][0]["copies"][0]["missing"]
    assert missing["files"] == len(NAMES)
    for text in (printed.out, printed.err, page.read_text()):
        controls = {letter for letter in text if not letter.isprintable()} - {"\n"}
        assert not controls, controls
        assert "\u202e" not in text
    assert "<script" not in page.read_text().lower()


def test_explain_lists_them_and_the_terminal_obeys_none(hostile: Station) -> None:
    hostile.night()
    for name in NAMES:
        (hostile.root / "heron/recordings" / os.fsdecode(name)).unlink()
    audited = hostile.night()
    (finding,) = [
        finding
        for finding in audited.judged.datasets[0].findings
        if finding.rule == "completeness" and "@heron" in finding.subject
    ]

    explained = hostile.command("explain", finding.id, "--rows", "100")

    assert explained.status == 0, explained.err
    assert explained.out.count("missing ") >= len(NAMES)
    assert not {letter for letter in explained.out if not letter.isprintable()} - {"\n"}
    assert r"two\nlines" in explained.out
    assert r"\xff\xfe not utf-8" in explained.out
