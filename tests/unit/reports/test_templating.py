"""The door to the templates."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from coverage_audit.errors import ReportError
from coverage_audit.reports import templating


@pytest.fixture
def filled(monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Fill a template given as text through the room's own environment."""
    environment = templating._environment()

    def fill(text: str, **values: object) -> str:
        template = environment.from_string(text)
        monkeypatch.setattr(type(environment), "get_template", lambda *_: template)
        return templating.render("given.html", **values)

    return fill


def test_a_misspelt_name_is_an_error_and_never_good_news(filled: Callable[..., str]) -> None:
    with pytest.raises(ReportError):
        filled("{% if misng %}bad{% else %}all covered{% endif %}", missing=3)


def test_every_value_is_made_visible_and_escaped_unasked(filled: Callable[..., str]) -> None:
    assert filled("<p>{{ name }}</p>", name="<b>\x1b\u202e\udcff") == r"<p>&lt;b&gt;\x1b\u{202E}\xff</p>"


def test_a_value_in_an_attribute_cannot_leave_it(filled: Callable[..., str]) -> None:
    assert filled('<p title="{{ name }}">', name='" onload="x') == '<p title="&#34; onload=&#34;x">'


def test_figures_kept_whole_are_escaped_too(filled: Callable[..., str]) -> None:
    assert filled("{{ name|whole }}", name="1 204 files <b>\x07") == r"1&nbsp;204&nbsp;files &lt;b&gt;\x07"


def test_words_of_the_estate_file_are_set_as_code_and_escaped(filled: Callable[..., str]) -> None:
    assert filled("{{ said|prose }}", said="say `on_root: <b>` ` \x07") == r"say <code>on_root: &lt;b&gt;</code> ` \x07"


def test_a_template_that_is_not_there_is_a_report_error() -> None:
    with pytest.raises(ReportError):
        templating.render("nothing.html")
