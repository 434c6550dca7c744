"""The page in a real browser: nothing runs, nothing leaves, everything can be read."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta

import pytest
from selenium.webdriver import ActionChains, Chrome, Keys
from selenium.webdriver.common.by import By

from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.reports.page import audit_page
from tests.builders.judged import NOW, a_comparison, a_copy, a_dataset, a_finding, a_sample, address, an_estate, judged
from tests.builders.judged import renamed as named
from tests.builders.judged_station import the_station
from tests.parts.chromium import Served, in_scheme, opened, overflow, unfold, urls_asked

HOSTILE = (
    "<script>document.title='hit'</script>",
    '"><img src=/leak.png onerror="document.title=\'hit\'">',
    "'><svg onload=document.title='hit'>",
    "javascript:document.title='hit'",
    "</style><style>@import url(/leak.css);</style>",
    "{{ 7*7 }}\x1b[2J\n\u202egpj",
)


def station_page() -> str:
    whole, estate, since = the_station()
    return audit_page(whole, estate, since=since, now=NOW)


def hostile_page() -> str:
    datasets = []
    for text in HOSTILE:
        copy = a_copy(
            an_estate(),
            address("heron", text),
            reason=text,
            comparison=a_comparison(samples=(a_sample(text.encode()), a_sample(b"\xff" + text.encode()))),
        )
        finding = replace(a_finding("age", text), message=text, mend=text, measured=text)
        datasets.append(a_dataset(text, (copy,), conclusion=Conclusion.NONCONFORMING, findings=(finding,)))
    whole = judged(tuple(datasets))
    return audit_page(whole, an_estate(tuple(datasets)), since={}, now=NOW)


def test_hostile_names_do_nothing_and_ask_for_nothing(browser: Chrome, serving: list[Served]) -> None:
    served = opened(browser, serving, hostile_page())
    for closed in browser.find_elements(By.CSS_SELECTOR, "details:not([open]) > summary"):
        browser.execute_script("arguments[0].parentElement.open = true", closed)
    time.sleep(0.3)  # what would run late has run
    assert browser.title.startswith("Nonconforming")
    assert browser.execute_script("return document.scripts.length + document.images.length") == 0
    assert served.asked == ["/page.html"]
    assert urls_asked(browser) == {served.url}
    text = browser.find_element(By.TAG_NAME, "main").text
    for name in HOSTILE[:4]:
        assert name in text


def test_a_link_leads_to_its_dataset_whatever_its_name(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, hostile_page())
    for link in browser.find_elements(By.CSS_SELECTOR, ".worries h3 a"):
        browser.execute_script("arguments[0].click()", link)
        target = browser.execute_script(
            "const t = document.querySelector(':target'); return t && t.querySelector('h3').textContent"
        )
        assert target == link.text


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_nothing_runs_off_the_side(browser: Chrome, serving: list[Served], width: int) -> None:
    opened(browser, serving, station_page(), width=width)
    unfold(browser)
    assert overflow(browser) <= 0


@pytest.mark.parametrize("width", [360, 1280])
def test_names_without_a_blank_are_wrapped_and_not_cut(browser: Chrome, serving: list[Served], width: int) -> None:
    name = "a-very-long-name-" * 12
    copy = a_copy(an_estate(), address("heron", name * 3), reason=name * 3)
    dataset = a_dataset(name, (copy,), conclusion=Conclusion.UNVERIFIED)
    opened(browser, serving, audit_page(judged((dataset,)), an_estate((dataset,)), since={}, now=NOW), width=width)
    assert overflow(browser) <= 0


def test_it_follows_the_scheme_that_is_asked_for(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, station_page())
    papers = set()
    for scheme in ("light", "dark"):
        in_scheme(browser, scheme)
        papers.add(browser.execute_script("return getComputedStyle(document.documentElement).backgroundColor"))
    assert len(papers) == 2


def test_the_keyboard_reaches_and_opens_what_is_folded(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, station_page())
    summary = browser.find_element(By.CSS_SELECTOR, "details.dataset:not([open]) > summary")
    folded = summary.find_element(By.XPATH, "..")
    for _ in range(200):
        ActionChains(browser).send_keys(Keys.TAB).perform()
        if browser.switch_to.active_element == summary:
            break
    ActionChains(browser).send_keys(Keys.ENTER).perform()
    assert folded.get_attribute("open") is not None


def test_what_is_folded_away_is_printed(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, station_page())
    shown = "return document.querySelector('details.dataset:not([open]) table').checkVisibility()"
    assert browser.execute_script(shown) is False
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    assert browser.execute_script(shown) is True


def test_a_mark_stands_where_its_age_says(browser: Chrome, serving: list[Served]) -> None:
    """Of the same copy, an older point is drawn further left, and one without a point leftmost of all."""
    ages = (timedelta(hours=2), timedelta(days=3), timedelta(days=200), None)
    dataset = a_dataset("maps", tuple(a_copy(an_estate(), address("heron", str(age)), age=age) for age in ages))
    opened(browser, serving, audit_page(judged((dataset,)), an_estate((dataset,)), since={}, now=NOW), width=360)
    marks = browser.find_elements(By.CSS_SELECTOR, ".chart td.scale use")
    left = [mark.rect["x"] for mark in marks]
    assert left == sorted(left, reverse=True)
    assert len(set(left)) == 4


def test_three_hundred_datasets_stay_quick_and_readable(browser: Chrome, serving: list[Served]) -> None:
    whole, _, since = the_station()
    datasets = tuple(named(each, f"{each.id}-{number:02}") for number in range(25) for each in whole.datasets)
    begun = time.monotonic()
    page = audit_page(replace(whole, datasets=datasets), an_estate(datasets), since=since, now=NOW)
    assert time.monotonic() - begun < 20
    assert len(page) < 4_000_000
    opened(browser, serving, page, width=360)
    spent = browser.execute_script(
        "const t = performance.getEntriesByType('navigation')[0]; return t.loadEventEnd - t.responseEnd"
    )
    assert spent < 20_000  # milliseconds, on a busy machine
    assert overflow(browser) <= 0
    assert len(browser.find_elements(By.CSS_SELECTOR, "details.dataset")) == 300
    assert browser.find_element(By.TAG_NAME, "h1").location["y"] < 300
