"""What reading content has shown stands beside the copy: on the terminal, on both pages, in the JSON."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import jsonschema
import pytest

from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Harm, Sampled, Spoilt, Verified, WholeReading
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.reports.as_json import audit_json
from coverage_audit.reports.page import audit_page
from coverage_audit.reports.terminal import audit_text
from coverage_audit.reports.verified import verified_json, verified_text
from coverage_audit.reports.weekly import weekly_page
from tests.builders.judged import NOW, a_copy, a_dataset, address, an_estate, judged
from tests.builders.page_reader import assert_harmless
from tests.builders.year_of_the_station import WEEK_FROM

STATEMENT = "with 95 % confidence fewer than 1 % of these 41 312 files differ, read 2026-11-22"
HOSTILE = b'"><script>alert(1)</script>\x1b[2J\n\xe2\x80\xae\xff'
SAMPLE = Sampled(began=NOW, ended=NOW, population=Tally(files=41_312, bytes=10**12), asked=297, same=297, beside=29)
KNOWN = Verified(
    last=SAMPLE,
    running=replace(SAMPLE, ended=None, same=3),
    whole=WholeReading(
        asked=NOW, ended=None, same=Tally(files=1, bytes=2), differing=3, not_shown=4, changed=5,
        left=Tally(files=6, bytes=7), seconds=8.5, through=NOW,
    ),
    spoilt=(
        Spoilt(
            path=HOSTILE, harm=Harm.DECAYED, size=1, mtime_ns=2, digest=b"\0", wanted=b"\1", at=NOW,
            held_by=(address("heron", "mirror"),),
        ),
    ),
    spoilt_files=1,
)  # fmt: skip


@pytest.fixture
def whole() -> JudgedEstate:
    """An estate of one dataset whose copy was read."""
    copy = a_copy(an_estate(), address("heron", "mirror"), reason="all is held")
    copy = replace(copy, content=STATEMENT, evidence=replace(copy.evidence, verified=KNOWN))
    dataset = a_dataset("field-recordings", (copy,))
    evidence = replace(dataset.original.evidence, spoilt=KNOWN.spoilt, spoilt_files=1)
    return judged((replace(dataset, original=replace(dataset.original, evidence=evidence)),))


def one_line(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", text).replace("&nbsp;", " "))


def test_it_stands_beside_the_copy_on_the_terminal_and_on_both_pages(whole: JudgedEstate) -> None:
    estate = an_estate(whole.datasets)
    weekly = weekly_page(whole, estate, LookBack(since=WEEK_FROM, until=NOW), since={}, week_from=WEEK_FROM, now=NOW)
    pages = [audit_page(whole, estate, since={}, now=NOW), weekly]

    assert f"content: {STATEMENT}" in one_line(audit_text(whole, width=100, colour=False, since={}))
    for page in pages:
        assert f"content {STATEMENT}" in one_line(page)
        assert_harmless(page)


def test_the_json_says_all_of_it_by_its_schema(whole: JudgedEstate) -> None:
    schema = json.loads((defaults_folder() / "audit.schema.json").read_text(encoding="utf-8"))
    told = json.loads(audit_json(whole))
    jsonschema.Draft202012Validator(schema).validate(told)

    content = told["datasets"][0]["copies"][0]["content"]
    assert content["statement"] == STATEMENT
    assert content["sample"]["population"] == {"files": 41_312, "bytes": 10**12}
    assert (content["under_way"]["same"], content["under_way"]["ended"]) == (3, None)
    assert (content["whole"]["not_readable"], content["whole"]["changed_meanwhile"]) == (4, 5)
    (spoilt,) = content["spoilt_files"]
    assert (spoilt["harm"], spoilt["wanted"], spoilt["held_by"]) == ("decayed", "01", ["heron:pool/mirror"])
    assert "\n" not in spoilt["path"]
    assert told["datasets"][0]["original"]["spoilt"] == 1


def test_what_the_command_prints_is_by_its_schema_and_safe(whole: JudgedEstate) -> None:
    schema = json.loads((defaults_folder() / "verify.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(json.loads(verified_json(whole)))
    assert "\x1b" not in verified_text(whole, width=80, colour=False)
