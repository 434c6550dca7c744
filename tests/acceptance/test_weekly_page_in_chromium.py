"""The weekly page and the index of its archive in a real browser."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from selenium.webdriver import ActionChains, Chrome, Keys
from selenium.webdriver.common.by import By

from coverage_audit.ledger.past_record import SummaryRecord
from coverage_audit.reports.archive import archive_index
from coverage_audit.reports.weekly import weekly_page
from tests.builders.judged import NOW, an_estate
from tests.builders.weekly import hostile_weekly, the_weekly_page
from tests.builders.year_of_the_station import WEEK_FROM, a_large_year
from tests.parts.chromium import Served, in_scheme, opened, overflow, unfold, urls_asked

HOSTILE = (
    "<script>document.title='hit'</script>",
    '"><img src=/leak.png onerror="document.title=\'hit\'">',
    "'><svg onload=document.title='hit'>",
    "</style><style>@import url(/leak.css);</style>",
    "ledger \u05d0\u05d1\u05d2 \x1b[2J\n\u202egpj",
    "n" * 4096,
)
SCREEN = 900


def archive() -> str:
    days = [(NOW - timedelta(days=7 * number)).date() for number in range(120)]
    return archive_index([SummaryRecord(page_of=day, made=NOW, file=f"{day}.html") for day in days], an_estate())


def top(browser: Chrome, selector: str) -> int:
    place = browser.find_element(By.CSS_SELECTOR, selector).location["y"]
    assert isinstance(place, int)
    return place


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_do_nothing_and_ask_for_nothing(browser: Chrome, serving: list[Served], name: str) -> None:
    served = opened(browser, serving, hostile_weekly(name), width=360)
    unfold(browser)
    time.sleep(0.2)  # what would run late has run
    assert browser.title.startswith("Nonconforming: Saltreach")
    assert browser.execute_script("return document.scripts.length + document.images.length") == 0
    assert served.asked == ["/page.html"]
    assert urls_asked(browser) == {served.url}
    assert overflow(browser) <= 0


def test_a_very_long_name_leaves_the_rest_within_reach(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, hostile_weekly("n" * 4096))
    assert top(browser, "#changed") < 2 * SCREEN
    assert top(browser, "#datasets") < 5 * SCREEN


def test_the_first_screen_of_a_desk_has_an_answer_to_each_question(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, the_weekly_page())
    for question in ("#conclusion", "#worries", "#changed", "#due", "#changed ~ h3 + ul", ".due > li"):
        assert top(browser, question) < SCREEN - 100, question


def test_of_an_old_audit_that_is_what_one_reads_first(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, the_weekly_page(NOW + timedelta(days=5)), width=360)
    text = browser.find_element(By.TAG_NAME, "main").text
    assert text.startswith("The last audit ended 5 days ago; nothing since is proven.\nWhat it found then:")


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
@pytest.mark.parametrize("page", [the_weekly_page, archive], ids=["weekly", "archive"])
def test_nothing_runs_off_the_side(browser: Chrome, serving: list[Served], page: Callable[[], str], width: int) -> None:
    opened(browser, serving, page(), width=width)
    unfold(browser)
    assert overflow(browser) <= 0


def test_it_follows_the_scheme_and_nothing_stays_black_on_black(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, the_weekly_page())
    paper = "return getComputedStyle(document.documentElement).backgroundColor"
    ink = "return [...document.querySelectorAll('svg text, svg path, svg rect')].map(one => getComputedStyle(one).fill)"
    papers = set()
    for scheme in ("light", "dark"):
        in_scheme(browser, scheme)
        papers.add(browser.execute_script(paper))
        assert browser.execute_script(paper) not in browser.execute_script(ink)
        assert "rgb(0, 0, 0)" not in browser.execute_script(ink)  # what no rule of the page has coloured
    assert len(papers) == 2


def test_the_keyboard_reaches_and_opens_a_dataset(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, the_weekly_page())
    summary = browser.find_element(By.CSS_SELECTOR, "details.year > summary")
    for _ in range(200):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        if browser.switch_to.active_element == summary:
            break
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    assert summary.find_element(By.XPATH, "..").get_attribute("open") is not None


def test_paper_shows_what_does_not_conform_and_folds_what_does(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, the_weekly_page())
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    shown = "return document.querySelector(arguments[0]).checkVisibility()"
    assert browser.execute_script(shown, "details.year.nonconforming .copies") is True
    assert browser.execute_script(shown, "details.year.unverified .findings") is True
    assert browser.execute_script(shown, ".worries[start='4'] li") is True  # the worries behind the first few
    assert browser.execute_script(shown, "details.year.conforming .copies") is False
    assert browser.execute_script(shown, "details.months table") is False
    browser.execute_script("document.querySelector('details.year.conforming').open = true")
    assert browser.execute_script(shown, "details.year.conforming .copies") is True


def test_a_day_is_drawn_where_it_was(browser: Chrome, serving: list[Served]) -> None:
    """The dataset that fails since eleven days has its last block at the right edge, as wide as eleven days."""
    opened(browser, serving, the_weekly_page())
    strip, block = browser.execute_script(
        "const s = document.querySelector('details.year.nonconforming .strip');"
        "const box = one => {const b = one.getBoundingClientRect(); return [b.left, b.right]};"
        "return [box(s), box(s.querySelector('path.nonconforming'))]"
    )
    assert block[1] == pytest.approx(strip[1], abs=1)
    day = (strip[1] - strip[0]) / 365
    assert block[0] == pytest.approx(strip[1] - 215 * day, abs=1)  # its first bad night was 214 days ago


@pytest.mark.parametrize("width", [360, 1280])
def test_three_hundred_datasets_and_five_thousand_findings_stay_a_page(
    browser: Chrome, serving: list[Served], width: int
) -> None:
    year = a_large_year()
    assert len(year.judged.datasets) == 300
    assert sum(len(dataset.findings) for dataset in year.judged.datasets) >= 5000
    page = weekly_page(year.judged, year.estate, year.back, since=year.since, week_from=WEEK_FROM, now=NOW)
    assert len(page) < 8_000_000
    opened(browser, serving, page, width=width)
    elements = browser.execute_script("return document.getElementsByTagName('*').length")
    assert elements < 130_000  # some twenty for each dataset's copy, four for a finding that conforms
    shown = browser.execute_script(
        "return [...document.querySelectorAll('details.year')].filter(one => one.checkVisibility()).length"
    )
    assert shown <= 24
    assert len(browser.find_elements(By.CSS_SELECTOR, "details.year")) == 300
    assert browser.execute_script("return document.documentElement.scrollHeight") < 20 * SCREEN
    assert top(browser, "#changed") < 2 * SCREEN
    assert overflow(browser) <= 0
