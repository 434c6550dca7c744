"""The page as text: complete, self-contained, harmless."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.estate.declared import Part
from coverage_audit.evidence.facts import GapKind
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.page import audit_page
from tests.builders.judged import (
    NOW,
    a_comparison,
    a_copy,
    a_dataset,
    a_finding,
    a_gap,
    a_sample,
    address,
    an_estate,
    an_item,
    judged,
)
from tests.builders.judged_station import the_station
from tests.builders.page_reader import Seen, assert_audible, assert_harmless, assert_links_lead_somewhere, assert_quoted

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>\x1b[2J\n\u202e\udcff'


def station_page(*, rehearsal: bool = False) -> str:
    whole, estate, since = the_station(rehearsal=rehearsal)
    return audit_page(whole, estate, since=since, now=NOW)


def hostile_page() -> str:
    copy = a_copy(
        an_estate(),
        address("heron", HOSTILE),
        reason=HOSTILE,
        remarks=(HOSTILE,),
        comparison=a_comparison(samples=(a_sample(HOSTILE.encode("utf-8", "surrogateescape")),)),
    )
    finding = replace(
        a_finding("age", HOSTILE, evidence=(an_item(HOSTILE, HOSTILE),)),
        message=HOSTILE,
        mend=HOSTILE,
        measured=HOSTILE,
        required=HOSTILE,
    )
    dataset = a_dataset(HOSTILE, (copy,), conclusion=Conclusion.NONCONFORMING, findings=(finding,))
    whole = judged((dataset,), findings=(finding,), gaps=(a_gap(HOSTILE, GapKind.CUT, HOSTILE),))
    return audit_page(whole, an_estate((dataset,)), since={}, now=NOW)


def test_the_page_is_well_formed_and_has_every_dataset_copy_and_finding() -> None:
    whole, _, _ = the_station()
    seen = Seen(station_page())
    assert not seen.depth
    text = " ".join(seen.text)
    for dataset in whole.datasets:
        assert dataset.id in text
        for copy in dataset.copies:
            assert str(copy.address) in text
            assert copy.reason in text
        for finding in dataset.findings:
            assert finding.id in text
            for item in finding.evidence:
                assert item.what in text


def test_the_first_screen_answers_in_the_order_in_which_one_asks() -> None:
    page = station_page()
    parts = [
        "Nonconforming: 2 of 12 datasets",
        "What is not as it must be",
        "since <time",
        "At stake",
        "Do first",
        "How far back you would fall",
        "Every dataset and its copies",
        "Hardware and volumes",
        "What could not be observed",
    ]
    found = [page.index(part, page.index("<main")) for part in parts]
    assert found == sorted(found)


@pytest.mark.parametrize("make", [station_page, hostile_page])
def test_nothing_in_it_runs_or_fetches(make: object) -> None:
    assert callable(make)
    assert_harmless(make())


def test_hostile_names_are_text_and_visible() -> None:
    page = hostile_page()
    page.encode("utf-8")
    assert all(line.isprintable() for line in page.replace("\t", " ").split("\n"))
    assert r"\x1b[2J\n\u{202E}\xff" in page
    assert "<script" not in page


def test_every_attribute_is_quoted() -> None:
    assert_quoted(station_page())


def test_landmarks_headings_tables_and_drawings_can_be_heard() -> None:
    assert_audible(station_page())


def test_names_of_anchors_are_there_once() -> None:
    assert_links_lead_somewhere(station_page())


def test_the_chart_says_in_words_what_it_draws() -> None:
    text = re.sub(r"\s+", " ", " ".join(Seen(station_page()).text))
    assert "curlew:store , Long Barn , stale 11 days , max_age 26 h" in text
    assert "curlew:store , Long Barn , unverified no point , max_age 26 h" in text


def test_a_rehearsal_is_stamped_and_an_audit_in_earnest_is_not() -> None:
    assert 'class="stamp"' in station_page(rehearsal=True)
    assert 'class="stamp"' not in station_page()


def test_all_is_well_is_said_in_few_words() -> None:
    dataset = a_dataset("maps", (a_copy(an_estate(), address("heron", "maps")),))
    page = audit_page(judged((dataset,)), an_estate((dataset,)), since={}, now=NOW)
    assert "Conforming: 1 dataset is covered as demanded." in page
    assert "Nothing: every criterion holds, on proven copies." in page


def test_a_dataset_without_copies_still_has_its_row() -> None:
    dataset = a_dataset("maps", ())
    page = audit_page(judged((dataset,)), an_estate((dataset,)), since={}, now=NOW)
    assert "no copy is declared" in page


def test_part_of_an_estate_says_so() -> None:
    dataset = a_dataset("maps", (a_copy(an_estate(), address("heron", "maps")),))
    page = audit_page(judged((dataset,), whole=False), an_estate((dataset,)), since={}, now=NOW)
    assert page.count("not the whole estate") == 2


def test_a_volume_of_which_nothing_was_seen_is_not_made_up() -> None:
    dataset = a_dataset("maps", (a_copy(an_estate(), address("curlew", "maps"), age=None, gap=a_gap()),))
    page = audit_page(judged((dataset,)), an_estate((dataset,)), since={}, now=NOW)
    row = page[page.index("<code>curlew:store</code>") :]
    assert "not seen in this audit" in row[: row.index("</tr>")]
    assert "not shown" in row[: row.index("</tr>")]


def test_what_changed_in_the_estate_stands_on_the_page_of_the_night() -> None:
    whole, estate, since = the_station()
    change = EstateChange(
        kind=ChangeKind.CAME,
        part=Part.DATASET,
        name="letters",
        details=(Detail(what="it lies where mail lay: say so with `formerly`", before=None, now=None),),
    )
    page = audit_page(whole, estate, since=since, now=NOW, events=(EstateEvent(at=NOW, change=change),))
    assert "dataset letters was declared: it lies where mail lay: say so with <code>formerly</code>" in page
    assert "What changed in the estate" not in station_page()
