"""The weekly page as text: complete, in its order, self-contained, harmless."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.reports.weekly import weekly_page
from tests.builders.judged import (
    NOW,
    a_copy,
    a_dataset,
    address,
    an_estate,
    judged,
    renamed,
)
from tests.builders.page_reader import (
    Seen,
    assert_audible,
    assert_harmless,
    assert_links_lead_somewhere,
    assert_quoted,
)
from tests.builders.past_days import a_day, an_audit
from tests.builders.weekly import MADE, hostile_weekly, the_weekly_page
from tests.builders.year_of_the_station import WEEK_FROM, a_year_of_the_station

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>\x1b[2J\n\u202e\udcff'
LONG = "n" * 4096


def words(page: str) -> str:
    return re.sub(r"\s+", " ", " ".join(Seen(page[page.index("<main") : page.index("</main>")]).text))


def test_the_first_screen_answers_in_the_order_in_which_one_asks() -> None:
    page = the_weekly_page()
    parts = [
        "Nonconforming: 2 of 12 datasets",
        "What is not as it must be",
        "since <time",
        "At stake",
        "Do first",
        "What changed since last week",
        "2 findings began",
        "2 findings are over",
        "In the estate",
        "1 waiver given",
        "Nights without an audit",
        "What will run out next",
        "Plug in shelf-b",
        "Room, the fullest first",
        "How far back you would fall",
        "Every dataset, over the year",
        "Hardware",
        "Volumes",
        "The nights of the year",
        "What could not be observed",
    ]
    found = [page.index(part, page.index("<main")) for part in parts]
    assert found == sorted(found)


def test_every_dataset_copy_and_finding_is_there_with_its_evidence() -> None:
    year, text = a_year_of_the_station(), words(the_weekly_page())
    for dataset in year.judged.datasets:
        assert dataset.id in text
        for copy in dataset.copies:
            assert str(copy.address) in text
            assert copy.reason in text
        for finding in dataset.findings:
            assert finding.id in text
            for item in finding.evidence:
                assert item.what.replace(" ", "\u00a0") in text.replace(" ", "\u00a0")


def test_what_the_pictures_draw_is_said_in_words() -> None:
    text = words(the_weekly_page()).replace("\u00a0", " ")
    assert "herbarium-scans nonconforming 35 days nonconforming 5 days without proof" in text
    assert "Nov 2026 13 conforming, 11 nonconforming, 1 without audit 1 158 files (3.4 GB) 212 GB" in text
    assert "Aug 2026 23 0 5 3" in text.replace(" 1 31", "")
    assert "kestrel:main hdd, ext4 as pinned" in text
    assert "620 GB 7 % of 8.0 TB full 2027-04-29 120 GB less 360 GB less" in text


@pytest.mark.parametrize(
    ("age", "first"),
    [
        (timedelta(hours=2), "Nonconforming: 2 of 12 datasets"),
        (timedelta(days=5), "The last audit ended 5 days ago; nothing since is proven."),
    ],
)
def test_a_page_of_an_old_audit_says_so_first(age: timedelta, first: str) -> None:
    page = the_weekly_page(NOW + age)
    (heading,) = re.findall(r"<h1[^>]*>(.*?)</h1>", page)
    assert heading.startswith(first)
    assert ("What it found then: Nonconforming" in page) is (age > timedelta(days=1))


def test_an_old_audit_in_which_all_was_well_is_no_good_news() -> None:
    dataset = a_dataset("maps", (a_copy(an_estate(), address("heron", "maps")),))
    back = LookBack(since=NOW - timedelta(days=365), until=NOW, audits=(an_audit(NOW),))
    page = weekly_page(
        judged((dataset,)), an_estate((dataset,)), back, since={}, week_from=WEEK_FROM, now=NOW + timedelta(days=9)
    )
    assert "<title>Old: Saltreach" in page
    assert 'class="conclusion unverified"' in page
    assert "criterion held, on proven copies" in page
    assert "2026-11-26 to 2026-12-04, 9 nights" in words(page)


def test_without_an_audit_nothing_is_proven() -> None:
    year = a_year_of_the_station()
    page = weekly_page(None, year.estate, year.back, since={}, week_from=WEEK_FROM, now=NOW)
    assert "No audit of the whole estate can be told of: nothing is proven." in page
    assert "conforming" not in words(page)
    assert_harmless(page)
    assert_audible(page)


def test_a_ledger_that_begins_today_makes_a_page() -> None:
    dataset = a_dataset("maps", (a_copy(an_estate(), address("heron", "maps")),))
    back = LookBack(since=NOW - timedelta(days=365), until=NOW)
    page = weekly_page(judged((dataset,)), an_estate((dataset,)), back, since={}, week_from=WEEK_FROM, now=NOW)
    assert "no audit of it is on record" in page
    assert_audible(page)
    first = replace(back, audits=(an_audit(NOW),), datasets=(a_day(NOW),))
    page = weekly_page(judged((dataset,)), an_estate((dataset,)), first, since={}, week_from=WEEK_FROM, now=NOW)
    assert "1 day conforming" in page
    assert "The night had its audit." in page


def test_an_estate_that_changed_since_the_audit_makes_a_page() -> None:
    year = a_year_of_the_station()
    estate = replace(year.estate, datasets=year.estate.datasets[2:], devices=year.estate.devices[:2], sites=())
    site = replace(year.estate.sites[0], name="Another name")
    estate = replace(estate, sites=(site,), devices=tuple(replace(one, site=site.id) for one in estate.devices))
    page = weekly_page(year.judged, estate, year.back, since=year.since, week_from=WEEK_FROM, now=NOW)
    assert "left the estate since the last audit" in page
    assert "curlew:store , barn ," in words(page)  # its site is not declared any more and has no name
    assert_links_lead_somewhere(page)


@pytest.mark.parametrize("make", [the_weekly_page, lambda: hostile_weekly(HOSTILE), lambda: hostile_weekly(LONG)])
def test_nothing_in_it_runs_or_fetches(make: Callable[[], str]) -> None:
    page = make()
    assert_harmless(page)
    assert_quoted(page)
    assert_audible(page)
    assert_links_lead_somewhere(page)


def test_hostile_names_are_text_and_visible() -> None:
    page = hostile_weekly(HOSTILE)
    page.encode("utf-8")
    assert all(line.isprintable() for line in page.replace("\t", " ").split("\n"))
    assert r"\x1b[2J\n\u{202E}\xff" in page
    assert "<script" not in page


def test_a_rehearsal_is_stamped() -> None:
    year = a_year_of_the_station()
    whole = replace(year.judged, rehearsal=True)
    page = weekly_page(whole, year.estate, year.back, since=year.since, week_from=WEEK_FROM, now=MADE)
    assert 'class="stamp"' in page
    assert 'class="stamp"' not in the_weekly_page()


def test_what_conforms_folds_away_where_there_is_much_of_it() -> None:
    dataset = a_dataset("maps", (a_copy(an_estate(), address("heron", "maps")),))
    many = tuple(renamed(dataset, f"maps-{number:03}") for number in range(300))
    worse = replace(renamed(dataset, "letters"), conclusion=Conclusion.NONCONFORMING)
    back = LookBack(since=NOW - timedelta(days=365), until=NOW, audits=(an_audit(NOW),))
    page = weekly_page(judged((*many, worse)), an_estate((*many, worse)), back, since={}, week_from=WEEK_FROM, now=NOW)
    assert page.count("and 300 that conform") == 2
    assert page.index("dataset-letters") < page.index("and 300 that conform")


def test_the_failures_that_would_lose_data_stand_in_it_the_weakest_dataset_first() -> None:
    page = the_weekly_page()
    section = words(page[: page.index('id="hardware"')] + "</main>")
    said = section[section.index("The failures that would lose data") :]

    assert said.index("not shown to survive one failure") < said.index("site=barn")
    assert "not for sure: some places are not shown to be apart" in said
    assert "coverage-audit loss" in said
