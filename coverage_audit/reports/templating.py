"""The one door to jinja2: everything is escaped, everything is made visible, nothing undefined passes.

An undefined name in a template ends the rendering: a typo must not read as good news. Every value that is
printed passes `visible` before it is escaped, whether or not a template remembers to ask for it.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any, Final
from urllib.parse import quote

import jinja2
from markupsafe import Markup, escape

from coverage_audit.errors import ReportError
from coverage_audit.evidence.visible import visible

_PACKAGE: Final = "coverage_audit.reports"
_CODE: Final = re.compile(r"`([^`]+)`")
_FIGURE: Final = re.compile(r"(?<=[0-9]) (?=[0-9]{3}\b|[A-Za-z]{1,5}\b)")


def render(template: str, **values: object) -> str:
    """Fill a template of this room. Raises ReportError where it cannot be (undefined name, lost file)."""
    try:
        return _environment().get_template(template).render(**values)
    except jinja2.TemplateError as error:
        raise ReportError(f"the page cannot be made ({template}: {error})") from error


@cache
def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader(_PACKAGE, "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters["visible"] = visible
    environment.filters["whole"] = _whole
    environment.filters["anchor"] = _anchor
    environment.filters["prose"] = _prose
    return environment


def _anchor(name: str) -> str:
    """Name a place in the page so that a link can lead to it, whatever the name holds."""
    return quote(visible(name), safe="")


def _prose(text: str) -> Markup:
    """Set what stands between backticks, a word of the estate file, as code."""
    return Markup(_CODE.sub(r"<code>\1</code>", str(escape(visible(text)))))  # noqa: S704 - escaped just before


def _whole(figures: str) -> Markup:
    """Keep a figure and its unit on one line: `18 204 files`."""
    return Markup(_FIGURE.sub("&nbsp;", str(escape(visible(figures)))))  # noqa: S704 - escaped just before


def _shown(value: Any) -> Any:
    """Make a value visible; what is markup already was made by a template, out of values that passed here."""
    if isinstance(value, Markup | jinja2.Undefined):
        return value
    return visible(str(value))
