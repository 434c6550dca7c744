"""A letter as HTML for mail programs, and its colours."""

from __future__ import annotations

import re

import pytest

from coverage_audit.ledger.outgoing import Picture
from coverage_audit.notices import palette
from coverage_audit.notices.mail_form import as_html, without_pictures
from coverage_audit.notices.message import Entry, Letter, Section
from tests.unit.reports.test_palette import contrast
from tests.unit.reports.test_palette import palette as of_page

NAMES = ("paper", "ink", "soft", "rule", "line", "margin", "shade", "good", "warn", "bad", "hurt", "unknown")
ONE, TWO = (Picture(name=f"{name}.png", alt=f"{name} > all", png=b"") for name in ("one", "two"))
LETTER = Letter(
    title="A <b>title</b> & 1 204 files",
    opening="Opening.",
    sections=tuple(
        Section(title=picture.name, entries=(Entry(head="head", sign="fails"),), picture=picture)
        for picture in (ONE, TWO)
    ),
)


def colour(text: str) -> tuple[float, float, float]:
    return (int(text[1:3], 16) / 255, int(text[3:5], 16) / 255, int(text[5:7], 16) / 255)


@pytest.mark.parametrize("name", NAMES)
def test_mails_have_the_colours_of_the_light_page(name: str) -> None:
    assert colour(getattr(palette, name.upper())) == pytest.approx(of_page("light")[name])


@pytest.mark.parametrize("shown", [palette.INK, palette.SOFT, *palette.OF_SIGN.values()])
def test_every_colour_of_letters_can_be_read_on_the_paper(shown: str) -> None:
    # WCAG 2.2 success criterion 1.4.3 (AA)
    assert contrast(colour(shown), colour(palette.PAPER)) >= 4.5


def test_words_are_escaped_and_figures_stay_with_what_they_count() -> None:
    html = as_html(LETTER)
    assert "A &lt;b&gt;title&lt;/b&gt; &amp; 1&nbsp;204&nbsp;files" in html
    assert '<span style="color:#8e2c00"><b>fails:</b></span> <b>head</b>' in html


@pytest.mark.parametrize("kept", [(), (ONE,), (TWO,), (ONE, TWO)])
def test_only_pictures_that_go_along_are_shown(kept: tuple[Picture, ...]) -> None:
    html = without_pictures(as_html(LETTER), kept)
    assert re.findall('src="cid:([^"]*)"', html) == [picture.name for picture in kept]
    assert html.count("<b>head</b>") == 2


def test_it_asks_for_light_paper_because_its_pictures_are_on_it() -> None:
    assert '<meta name="color-scheme" content="light">' in as_html(LETTER)
