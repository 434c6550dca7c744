"""The page of the look back in a real browser: the same demands as on every other page."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from coverage_audit.audits.looking_back import LookedBack
from coverage_audit.estate.changes import ChangeKind, EstateChange
from coverage_audit.estate.model import DatasetId
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.changes import changes_of
from coverage_audit.reports.changes_page import changes_page
from tests.acceptance.test_accessibility import violations
from tests.acceptance.test_page_in_chromium import HOSTILE
from tests.builders.year_kept import NOW
from tests.parts.chromium import Served, in_scheme, opened, overflow, unfold, urls_asked


def page_of(looked: LookedBack) -> str:
    return changes_page(changes_of(looked, NOW), NOW)


def hostile(looked: LookedBack) -> LookedBack:
    """The same with names that try things, wherever the page prints a name."""
    back = looked.back
    incidents = [
        replace(back.incidents[0], finding=replace(back.incidents[0].finding, message=text)) for text in HOSTILE
    ]
    days = [replace(day, dataset=DatasetId(text)) for text in HOSTILE for day in back.datasets[:9]]
    changes = [EstateChange(kind=ChangeKind.CAME, part="dataset", name=text, who=text) for text in HOSTILE]
    nights = [replace(one, detail=HOSTILE[number % len(HOSTILE)]) for number, one in enumerate(back.nights)]
    shown = [
        replace(one, drives=frozenset({HOSTILE[number % len(HOSTILE)]}), filesystem=HOSTILE[number % len(HOSTILE)])
        for number, one in enumerate(looked.shown)
    ]
    more = replace(
        back,
        incidents=tuple(incidents),
        datasets=(*back.datasets, *days),
        nights=tuple(nights),
        events=tuple(EstateEvent(at=NOW, change=change) for change in changes),
    )
    return replace(looked, back=more, shown=tuple(shown))


def large(looked: LookedBack) -> LookedBack:
    """Three hundred datasets through the year, and five thousand incidents."""
    back = looked.back
    grown = [day for day in back.datasets if day.dataset == "herbarium"]
    days = [replace(day, dataset=DatasetId(f"herbarium-{number:03}")) for day in grown for number in range(300)]
    incidents = [
        replace(one, began=one.began + timedelta(hours=number), dataset=DatasetId(f"herbarium-{number % 300:03}"))
        for number in range(2500)
        for one in back.incidents
    ]
    return replace(looked, back=replace(back, datasets=tuple(days), incidents=tuple(incidents)))


def test_hostile_names_do_nothing_and_ask_for_nothing(
    browser: Chrome, serving: list[Served], looked_back: LookedBack
) -> None:
    served = opened(browser, serving, page_of(hostile(looked_back)))
    unfold(browser)
    time.sleep(0.3)  # what would run late has run
    assert browser.title.startswith("Saltreach Field Station, look back")
    assert browser.execute_script("return document.scripts.length + document.images.length") == 0
    assert served.asked == ["/page.html"]
    assert urls_asked(browser) == {served.url}
    text = browser.find_element(By.TAG_NAME, "main").text
    for name in HOSTILE[:4]:
        assert name in text


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_nothing_runs_off_the_side(browser: Chrome, serving: list[Served], looked_back: LookedBack, width: int) -> None:
    long = DatasetId("a-very-long-name-" * 12)
    back = looked_back.back
    named = tuple(replace(day, dataset=long) if day.dataset == "old-maps" else day for day in back.datasets)
    for looked in (looked_back, replace(looked_back, back=replace(back, datasets=named))):
        opened(browser, serving, page_of(looked), width=width)
        unfold(browser)
        assert overflow(browser) <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_nothing_keeps_anyone_from_reading(
    browser: Chrome, serving: list[Served], looked_back: LookedBack, width: int, scheme: str
) -> None:
    in_scheme(browser, scheme)
    opened(browser, serving, page_of(looked_back), width=width)
    unfold(browser)
    assert violations(browser) == []


def test_what_is_folded_away_is_printed(browser: Chrome, serving: list[Served], looked_back: LookedBack) -> None:
    opened(browser, serving, page_of(large(looked_back)))
    shown = "return document.querySelector('details.fold:not([open]) table').checkVisibility()"
    assert browser.execute_script(shown) is False
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert browser.execute_script(shown) is True


def test_three_hundred_datasets_and_five_thousand_incidents_stay_quick(
    browser: Chrome, serving: list[Served], looked_back: LookedBack
) -> None:
    looked = large(looked_back)
    begun = time.monotonic()
    page = page_of(looked)
    assert time.monotonic() - begun < 20
    assert len(page) < 4_000_000
    opened(browser, serving, page, width=360)
    spent = browser.execute_script(
        "const t = performance.getEntriesByType('navigation')[0]; return t.loadEventEnd - t.responseEnd"
    )
    assert spent < 20_000  # milliseconds, on a busy machine
    assert overflow(browser) <= 0
    assert browser.execute_script("return document.documentElement.scrollHeight") < 40_000
