"""What changed at once in the JSON, and what no copy holds on the page: both shares, the largest, the oldest."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import jsonschema
import pytest

from coverage_audit.estate.shipped import defaults_folder
from coverage_audit.evidence.difference import Exposure, Tally
from coverage_audit.evidence.turnover import FormerFile, MassChange, Sign, Turnover, Watched
from coverage_audit.judgement.verdict import JudgedDataset, JudgedEstate
from coverage_audit.reports.as_json import audit_json
from coverage_audit.reports.exposed import exposed_view
from coverage_audit.reports.page import audit_page
from tests.builders.judged import NOW, STARTED, a_dataset, a_sample, an_estate, judged, since_all

ZONE = ZoneInfo("Europe/Dublin")
WHOLE = Tally(files=10_000, bytes=10**12)
TURNED = Turnover(
    before_at=STARTED,
    at=NOW,
    before=WHOLE,
    now=Tally(files=9_000, bytes=9 * 10**11),
    gone=Tally(files=1_000, bytes=10**11),
    suffixed=Tally(files=1_000, bytes=10**11),
    suffix=b".x\xff",
    largest=(FormerFile(path=b"take \xff.wav", size=7, mtime_ns=1),),
)


def watched(dataset: JudgedDataset, seen: Watched | None) -> JudgedDataset:
    evidence = replace(dataset.original.evidence, watched=seen)
    return replace(dataset, original=replace(dataset.original, evidence=evidence))


def printed(estate: JudgedEstate) -> dict[str, Any]:
    """The JSON object, held against the published schema."""
    schema = json.loads((defaults_folder() / "audit.schema.json").read_text(encoding="utf-8"))
    found: dict[str, Any] = json.loads(audit_json(estate))
    jsonschema.validate(found, schema)
    return found


@pytest.mark.parametrize(
    "seen",
    [
        None,
        Watched(why_not="it has no whole listing before it", first=True),
        Watched(last=TURNED, known=4),
        Watched(last=TURNED, standing=MassChange(since=NOW, seen_at=NOW, turnover=TURNED, signs=tuple(Sign))),
    ],
)
def test_whatever_is_known_of_it_keeps_to_the_published_schema(seen: Watched | None) -> None:
    found = printed(judged((watched(a_dataset("recordings", ()), seen),)))["datasets"][0]["turnover"]

    assert (found is None) is (seen is None)
    if seen is not None and seen.standing is not None:
        assert found["standing"]["signs"] == ["went", "bear another suffix", "rewritten"]
        assert found["standing"]["lost"] == {"files": 1_000, "bytes": 10**11}
        assert found["standing"]["suffix"] == ".x\\xff"
        assert found["standing"]["largest"] == [
            {"path": "take \\xff.wav", "path_bytes": "dGFrZSD/Lndhdg==", "bytes": 7}
        ]


def test_both_shares_of_what_no_copy_holds_are_said() -> None:
    small = exposed_view(Exposure(files=5_000, bytes=50_000), WHOLE, ZONE)
    large = exposed_view(Exposure(files=1, bytes=9 * 10**11), WHOLE, ZONE)

    assert small.said == "5 000 files (50.0 kB): 50% of its files, under 1% of its bytes"
    assert large.said == "1 file (900 GB): under 1% of its files, 90% of its bytes"
    assert exposed_view(Exposure(files=10_000, bytes=10**12), WHOLE, ZONE).said.endswith(
        "all of its files, all of its bytes"
    )
    assert exposed_view(Exposure(files=3, bytes=0), None, ZONE).said == "3 files (0 B)"
    assert exposed_view(None, WHOLE, ZONE).said == "not known"
    assert exposed_view(Exposure(files=0, bytes=0), WHOLE, ZONE).said == "nothing"


def test_the_page_names_the_largest_and_the_oldest_that_no_copy_holds() -> None:
    largest = replace(a_sample(b"field/long-take.wav"), size=9 * 10**9, mtime_ns=1_790_000_000 * 10**9)
    oldest = replace(a_sample(b"will & deeds.txt"), size=812, mtime_ns=900_000_000 * 10**9)
    exposure = Exposure(files=2_000, bytes=10**10, samples=(largest,), oldest=(oldest,))
    dataset = a_dataset("recordings", (), exposure=exposure)
    estate = judged((dataset,))

    page = audit_page(estate, an_estate((dataset,)), since=since_all(estate), now=NOW)

    assert "2&nbsp;000&nbsp;files (10.0&nbsp;GB): 11% of its files, 5% of its bytes" in page
    assert "<code>field/long-take.wav</code> 9.0&nbsp;GB, of 2026-09-21" in page
    assert "<code>will &amp; deeds.txt</code> 812&nbsp;B, of 1998-07-09" in page
