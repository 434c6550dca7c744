"""The HTML of mails in a real browser, in the width of a phone's mail program and of a desk's."""

from __future__ import annotations

import base64

import pytest
from selenium.webdriver import Chrome

from coverage_audit.notices.composing import compose, compose_notice
from coverage_audit.notices.message import Message
from coverage_audit.notices.news import Missed
from coverage_audit.reports.summary_mail import weekly_mail
from tests.acceptance.test_accessibility import axe
from tests.builders.judged import NOW
from tests.builders.noticed import a_change, a_recovery, failing_estate
from tests.builders.year_of_the_station import WEEK_FROM, a_year_of_the_station
from tests.parts.chromium import Served, opened, overflow, urls_asked

WIDTHS = (360, 640)
LONG = "a-name-that-is-written-without-any-blank-" * 6


def weekly() -> Message:
    year = a_year_of_the_station()
    return weekly_mail(year.judged, year.estate, year.back, since=year.since, week_from=WEEK_FROM, now=NOW).to()


def nightly() -> Message:
    changes = [a_change(f"copies:{LONG}", dataset=LONG, mend=LONG), a_recovery()]
    found = compose(failing_estate(), changes, page=None, missed=Missed(nights=3, since=None))
    assert found is not None
    return found


def of_itself() -> Message:
    return compose_notice("Saltreach", "the estate file is refused", (f"line 4: {LONG} is no site", "Mend the file."))


MAILS = {"weekly": weekly, "nightly": nightly, "of itself": of_itself}


def shown(message: Message) -> str:
    """The HTML as a mail program shows it: each picture in the place of its name."""
    html = message.html
    for picture in message.pictures:
        html = html.replace(f"cid:{picture.name}", f"data:image/png;base64,{base64.b64encode(picture.png).decode()}")
    return html


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", MAILS)
def test_nothing_is_wider_than_the_window_and_nothing_is_asked_for(
    browser: Chrome, serving: list[Served], name: str, width: int
) -> None:
    served = opened(browser, serving, shown(MAILS[name]()), width=width)
    assert overflow(browser) <= 0
    assert browser.execute_script("return [...document.images].filter(one => !one.naturalWidth).length") == 0
    assert urls_asked(browser) - {served.url, f"{served.url.rsplit('/', 1)[0]}/favicon.ico"} == set()


@pytest.mark.parametrize("name", MAILS)
def test_nothing_keeps_anyone_from_reading(browser: Chrome, serving: list[Served], name: str) -> None:
    opened(browser, serving, shown(MAILS[name]()), width=360)
    browser.execute_script(axe())
    levels = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]  # a mail has no landmarks of its own
    found = browser.execute_async_script(
        "const done = arguments[1];"
        "axe.run(document, {runOnly: {type: 'tag', values: arguments[0]}}).then(done, error => done(String(error)))",
        levels,
    )
    assert len(found["passes"]) > 5  # it has looked
    assert [one["id"] for one in found["violations"]] == []


def test_where_pictures_are_not_shown_their_words_are(browser: Chrome, serving: list[Served]) -> None:
    message = weekly()
    opened(browser, serving, message.html)  # no program here knows what cid: names
    alts = browser.execute_script("return [...document.images].map(one => one.alt)")
    assert alts == [picture.alt for picture in message.pictures]
    told = browser.execute_script("return document.body.innerText").replace("\u00a0", " ")
    for said in ("13 months back (incomplete; at most 26 h)", "72 nonconforming", "Do first:"):
        assert said in told
