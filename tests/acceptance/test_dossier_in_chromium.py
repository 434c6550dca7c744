"""The dossier of a retirement in a real browser: the same demands as on every other page."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest
from selenium.webdriver import Chrome

from coverage_audit.reports.dossier import dossier_page
from tests.acceptance.test_accessibility import violations
from tests.acceptance.test_page_in_chromium import HOSTILE
from tests.builders.judged import an_estate
from tests.builders.losses import a_drive_out
from tests.builders.retirements import a_clear_retirement, a_retirement, a_retirement_of_drives
from tests.parts.chromium import Served, in_scheme, opened, overflow, urls_asked


def not_clear() -> str:
    return dossier_page(a_retirement(), an_estate())


def clear() -> str:
    return dossier_page(a_clear_retirement(), an_estate())


def of_a_drive() -> str:
    return dossier_page(a_retirement_of_drives(a_drive_out()), an_estate())


PAGES = {"not clear": not_clear, "clear": clear, "of a drive": of_a_drive}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_do_nothing_and_ask_for_nothing(browser: Chrome, serving: list[Served], name: str) -> None:
    served = opened(browser, serving, dossier_page(a_retirement(name), an_estate()), width=360)
    time.sleep(0.2)  # what would run late has run
    assert browser.title.startswith("Saltreach Field Station, retirement of kestrel")
    assert browser.execute_script("return document.scripts.length + document.images.length") == 0
    assert served.asked == ["/page.html"]
    assert urls_asked(browser) == {served.url}
    assert overflow(browser) <= 0


@pytest.mark.parametrize("width", [320, 768, 1280])
@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_nothing_runs_off_the_side(browser: Chrome, serving: list[Served], page: Callable[[], str], width: int) -> None:
    opened(browser, serving, page(), width=width)
    assert overflow(browser) <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_nothing_keeps_anyone_from_reading(
    browser: Chrome, serving: list[Served], page: Callable[[], str], scheme: str
) -> None:
    in_scheme(browser, scheme)
    opened(browser, serving, page(), width=1280)
    assert violations(browser) == []


def test_on_paper_it_has_room_for_signatures_and_no_colour_carries_a_meaning(
    browser: Chrome, serving: list[Served]
) -> None:
    opened(browser, serving, clear(), width=1280)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    text = browser.find_element("css selector", "main").text
    assert "kestrel: clear" in text
    assert all(word in text for word in ("Released by", "Sanitised by", "Date"))
    paper = browser.execute_script(
        "return getComputedStyle(document.documentElement).getPropertyValue('--paper').trim()"
    )
    assert paper in {"#fff", "white", "#ffffff"}
