"""Each page under axe-core, the published checker of the Web Content Accessibility Guidelines: no violations.

The rules are those of WCAG 2.0 to 2.2, levels A and AA, and axe-core's own best practices, as axe-core tags them.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from importlib.metadata import files
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver import Chrome

from coverage_audit.ledger.past_record import SummaryRecord
from coverage_audit.reports.archive import archive_index
from coverage_audit.reports.page import audit_page
from coverage_audit.reports.weekly import weekly_page
from tests.builders.judged import NOW
from tests.builders.year_of_the_station import WEEK_FROM, a_year_of_the_station
from tests.parts.chromium import Served, in_scheme, opened, unfold

TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa", "best-practice")


def axe() -> str:
    (script,) = (file for file in files("axe-playwright-python") or () if file.name == "axe.min.js")
    return Path(str(script.locate())).read_text(encoding="utf-8")


def weekly(age: timedelta = timedelta(hours=2)) -> str:
    year = a_year_of_the_station()
    return weekly_page(year.judged, year.estate, year.back, since=year.since, week_from=WEEK_FROM, now=NOW + age)


def of_a_night() -> str:
    year = a_year_of_the_station()
    return audit_page(year.judged, year.estate, since=year.since, now=NOW, events=year.back.events)


def unknown() -> str:
    year = a_year_of_the_station()
    return weekly_page(None, year.estate, year.back, since={}, week_from=WEEK_FROM, now=NOW)


def archive() -> str:
    year = a_year_of_the_station()
    days = [(NOW - timedelta(days=7 * number)).date() for number in range(60)]
    records = [SummaryRecord(page_of=day, made=NOW, file=f"{day}.html") for day in days]
    return archive_index(records, year.estate, audits=year.back.audits)


PAGES = {
    "weekly": weekly,
    "weekly, of an old audit": lambda: weekly(timedelta(days=5)),
    "weekly, without an audit": unknown,
    "audit": of_a_night,
    "archive": archive,
}


def violations(browser: Chrome) -> list[str]:
    browser.execute_script(axe())
    found: dict[str, Any] = browser.execute_async_script(
        "const done = arguments[1];"
        "axe.run(document, {runOnly: {type: 'tag', values: arguments[0]}, resultTypes: ['violations']})"
        ".then(done, error => done({error: String(error)}))",
        list(TAGS),
    )
    assert "error" not in found, found
    assert len(found["passes"]) > 10  # it has looked
    return [
        f"{one['id']}: {node['html'][:160]} {node['failureSummary']}"
        for one in found["violations"]
        for node in one["nodes"]
    ]


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


def test_the_checker_sees_what_is_wrong(browser: Chrome, serving: list[Served]) -> None:
    bad = "<!doctype html><html><title>x</title><body><img src='data:,'><p style='color:#ccc'>pale</p></body></html>"
    opened(browser, serving, bad)
    browser.execute_script(axe())
    found = browser.execute_async_script(
        "const done = arguments[0]; axe.run(document).then(r => done(r.violations.map(v => v.id)))"
    )
    assert {"html-has-lang", "image-alt", "color-contrast"} <= set(found)
