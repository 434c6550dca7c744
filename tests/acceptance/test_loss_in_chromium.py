"""The page of what is lost in a real browser: the same demands as on every other page."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By

from coverage_audit.reports.loss_page import loss_page
from tests.acceptance.test_accessibility import violations
from tests.acceptance.test_page_in_chromium import HOSTILE
from tests.builders.losses import a_large_table, a_table, drive_gone, hostile_table, kestrel_gone, the_estate
from tests.parts.chromium import Served, in_scheme, opened, overflow, unfold, urls_asked


def of_all() -> str:
    return loss_page(a_table(), the_estate())


def of_one() -> str:
    return loss_page(a_table(kestrel_gone()), the_estate())


def of_a_drive() -> str:
    return loss_page(a_table(drive_gone(), cuts=()), the_estate())


PAGES = {"all": of_all, "one": of_one, "drive": of_a_drive}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_do_nothing_and_ask_for_nothing(browser: Chrome, serving: list[Served], name: str) -> None:
    served = opened(browser, serving, loss_page(hostile_table(name), the_estate()), width=360)
    unfold(browser)
    time.sleep(0.2)  # what would run late has run
    assert browser.title.startswith("Saltreach Field Station, what is lost")
    assert browser.execute_script("return document.scripts.length + document.images.length") == 0
    assert served.asked == ["/page.html"]
    assert urls_asked(browser) == {served.url}
    assert overflow(browser) <= 0


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_nothing_runs_off_the_side(browser: Chrome, serving: list[Served], page: Callable[[], str], width: int) -> None:
    opened(browser, serving, page(), width=width)
    unfold(browser)
    assert overflow(browser) <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_nothing_keeps_anyone_from_reading(
    browser: Chrome, serving: list[Served], page: Callable[[], str], width: int, scheme: str
) -> None:
    in_scheme(browser, scheme)
    opened(browser, serving, page(), width=width)
    unfold(browser)
    assert violations(browser) == []


def test_a_failure_in_the_table_leads_to_what_is_left_after_it(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, of_all())
    link = browser.find_element(By.CSS_SELECTOR, ".domains a[href='#loss-site%3Dbarn']")
    link.click()
    assert browser.find_element(By.CSS_SELECTOR, ":target").text.startswith("the site Long Barn")


def test_paper_shows_the_tables_and_of_the_failures_what_is_open(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, of_all())
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    shown = "return [...document.querySelectorAll(arguments[0])].map(one => one.checkVisibility())"
    assert browser.execute_script(shown, ".domains, .cuts") == [True, True]
    assert browser.execute_script(shown, ".loss[open] .fates") == [True, True, True]
    assert browser.execute_script(shown, ".loss:not([open]) .fates") == [False]
    assert set(browser.execute_script(shown, ".loss > summary")) == {True}


def test_sixty_datasets_in_forty_failures_stay_quick(browser: Chrome, serving: list[Served]) -> None:
    begun = time.monotonic()
    page = loss_page(a_large_table(), the_estate())
    assert time.monotonic() - begun < 20
    opened(browser, serving, page, width=360)
    spent = browser.execute_script(
        "const t = performance.getEntriesByType('navigation')[0]; return t.loadEventEnd - t.responseEnd"
    )
    assert spent < 20_000  # milliseconds, on a busy machine
    assert overflow(browser) <= 0
