"""A letter as plain text, as HTML that mail programs render (tables, inline styles), and in few words."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from coverage_audit.notices.message import Entry, Letter, Section

SHORT_ENTRIES = 6
SHORT_LENGTH = 900

_FONT = "font-family:Georgia,'Times New Roman',serif;font-size:15px;line-height:1.5"
_CELL = "padding:6px 12px 6px 0;vertical-align:top;border-top:1px solid #767676"


def as_text(letter: Letter) -> str:
    """Return the letter as plain text."""
    return "\n".join(_text_lines(letter)) + "\n"


def _text_lines(letter: Letter) -> Iterator[str]:
    yield from (letter.title, "", letter.opening, *letter.notes)
    for section in letter.sections:
        yield from ("", section.title, "-" * len(section.title))
        for entry in section.entries:
            yield f"* {section.sign}: {entry.head}"
            yield from (f"  {line}" for line in entry.lines)
    if letter.closing:
        yield from ("", *letter.closing)


def as_html(letter: Letter) -> str:
    """Return the letter as one HTML document; every word in it is escaped."""
    parts = [f'<p style="margin:0 0 12px">{escape(line)}</p>' for line in (letter.opening, *letter.notes)]
    parts += [_section(section) for section in letter.sections]
    parts += [f'<p style="margin:16px 0 0">{escape(line)}</p>' for line in letter.closing]
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(letter.title)}</title></head>"
        f'<body style="margin:16px;{_FONT}">'
        f'<h1 style="font-size:20px;margin:0 0 8px">{escape(letter.title)}</h1>'
        f"{''.join(parts)}</body></html>"
    )


def _section(section: Section) -> str:
    rows = "".join(_row(section.sign, entry) for entry in section.entries)
    return (
        f'<h2 style="font-size:16px;margin:20px 0 6px">{escape(section.title)}</h2>'
        f'<table role="presentation" cellspacing="0" cellpadding="0" style="border-collapse:collapse;{_FONT}">'
        f"{rows}</table>"
    )


def _row(sign: str, entry: Entry) -> str:
    lines = "".join(f"<br>{escape(line)}" for line in entry.lines)
    return (
        f'<tr><td style="{_CELL};font-variant:small-caps">{escape(sign)}: </td>'
        f'<td style="{_CELL}"><strong>{escape(entry.head)}</strong>{lines}</td></tr>'
    )


def as_short(letter: Letter) -> str:
    """Return a few lines for a push message: each finding's sign, name and first line; without any, the opening."""
    entries = [
        f"{section.sign}: {entry.head}{': ' + entry.lines[0] if entry.lines else ''}"
        for section in letter.sections
        for entry in section.entries
    ]
    more = [f"and {len(entries) - SHORT_ENTRIES} more"] if len(entries) > SHORT_ENTRIES else []
    said = [*letter.notes, *entries[:SHORT_ENTRIES], *more]
    text = "\n".join(said if entries else [letter.opening, *said])
    return text if len(text) <= SHORT_LENGTH else f"{text[: SHORT_LENGTH - 1]}…"
