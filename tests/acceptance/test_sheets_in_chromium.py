"""The sheets to keep on paper in a real browser: printed on one page of A4, and readable on a screen until then."""

from __future__ import annotations

import base64
import re
import time
from collections.abc import Callable
from dataclasses import replace

import pytest
from selenium.webdriver import Chrome

from coverage_audit.reports.recovery_sheet import recovery_sheet
from coverage_audit.scenarios.loss import Loss
from tests.acceptance.test_accessibility import violations
from tests.acceptance.test_page_in_chromium import HOSTILE
from tests.builders.losses import (
    NAMES,
    a_dataset_loss,
    a_place_left,
    a_restore,
    a_table,
    hostile_loss,
    hut_gone,
    kestrel_gone,
    the_estate,
)
from tests.builders.own_sheet import the_own_sheet
from tests.parts.chromium import Served, in_scheme, opened, overflow, urls_asked


def sheet_of(loss: Loss) -> str:
    return recovery_sheet(loss, a_table(loss, unjudged=("bird-counts",)), the_estate())


def all_ten_from_afar() -> Loss:
    """All that was on the box comes back, each from an encrypted copy with a long way and a long name."""
    datasets = []
    for name in NAMES:
        best = a_place_left(
            "curlew",
            f"nightly/{{point}}/of-the-station/{name}",
            encrypted=True,
            key_kept=("barn", "heron"),
        )
        datasets.append(a_dataset_loss(name, best=best, restore=a_restore(best.address, measured=True)))
    loss = kestrel_gone()
    return replace(loss, datasets=tuple(datasets), order=tuple(one.dataset for one in datasets), not_reckoned=())


SHEETS = {"mixed": kestrel_gone, "ten": all_ten_from_afar, "nothing left": hut_gone}


def pages_of(browser: Chrome) -> int:
    """Print it as a person does, with the page's own size, and count the pages."""
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    document = base64.b64decode(printed["data"])
    box = re.search(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", document)
    assert box is not None
    assert [round(float(side) / 72 * 25.4) for side in box.groups()] == [210, 297]  # A4, ISO 216
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", document))


@pytest.mark.parametrize("loss", SHEETS.values(), ids=SHEETS)
def test_ten_datasets_are_one_page_of_paper(browser: Chrome, serving: list[Served], loss: Callable[[], Loss]) -> None:
    opened(browser, serving, sheet_of(loss()))

    assert pages_of(browser) == 1


def test_many_more_datasets_are_more_pages_and_none_is_cut_off(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, sheet_of(kestrel_gone(tuple(f"herbarium-{number:02}" for number in range(60)))))

    assert pages_of(browser) > 1


def test_the_auditors_own_sheet_is_one_page_and_the_estate_behind_it(browser: Chrome, serving: list[Served]) -> None:
    opened(browser, serving, the_own_sheet())

    assert pages_of(browser) == 2


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_auditors_own_sheet_can_be_read_on_every_screen(
    browser: Chrome, serving: list[Served], width: int, scheme: str
) -> None:
    in_scheme(browser, scheme)
    opened(browser, serving, the_own_sheet(), width=width)
    assert violations(browser) == []
    assert overflow(browser) <= 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("loss", SHEETS.values(), ids=SHEETS)
def test_nothing_keeps_anyone_from_reading(
    browser: Chrome, serving: list[Served], loss: Callable[[], Loss], width: int, scheme: str
) -> None:
    in_scheme(browser, scheme)
    opened(browser, serving, sheet_of(loss()), width=width)
    assert violations(browser) == []


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_nothing_runs_off_the_side(browser: Chrome, serving: list[Served], width: int) -> None:
    opened(browser, serving, sheet_of(all_ten_from_afar()), width=width)
    assert overflow(browser) <= 0


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_do_nothing_and_ask_for_nothing(browser: Chrome, serving: list[Served], name: str) -> None:
    loss = hostile_loss(name)
    served = opened(browser, serving, recovery_sheet(loss, a_table(loss, unjudged=(name,)), the_estate()), width=360)
    time.sleep(0.2)  # what would run late has run
    assert browser.title.startswith("Saltreach Field Station, recovery sheet")
    assert browser.execute_script("return document.scripts.length + document.images.length") == 0
    assert served.asked == ["/page.html"]
    assert urls_asked(browser) == {served.url}
    assert overflow(browser) <= 0


def test_on_paper_it_is_black_on_white_whatever_the_screen_was(browser: Chrome, serving: list[Served]) -> None:
    in_scheme(browser, "dark")
    opened(browser, serving, sheet_of(kestrel_gone()))
    features = [{"name": "prefers-color-scheme", "value": "dark"}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print", "features": features})
    look = "const s = getComputedStyle(document.body); return [s.color, s.backgroundColor]"
    assert browser.execute_script(look) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
