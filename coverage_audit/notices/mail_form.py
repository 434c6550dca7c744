"""A letter as HTML that mail programs render: tables, inline styles, no classes, nothing from outside.

Every word is escaped. Paper and ink are both named wherever one of them is, so that a dark mode turns both or none.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from html import escape
from typing import Final

from coverage_audit.ledger.outgoing import Picture
from coverage_audit.notices.message import Entry, Letter, Section
from coverage_audit.notices.palette import INK, LINE, MARGIN, OF_SIGN, PAPER, RULE, SOFT

_SERIF: Final = "font-family:Charter,'Bitstream Charter',Georgia,'DejaVu Serif',serif"
_MONO: Final = "font-family:Menlo,Consolas,'DejaVu Sans Mono',monospace;font-size:13px"
_BREAK: Final = "word-break:break-word;overflow-wrap:anywhere"
_TABLE: Final = 'role="presentation" border="0" cellpadding="0" cellspacing="0" width="100%"'
_PICTURE_WIDTH: Final = 520
_COMMAND: Final = "coverage-audit "
_SHOWN_PICTURE: Final = re.compile(r'<p [^>]*><img src="cid:([^"]*)"[^>]*></p>\n')
_FIGURE: Final = re.compile(r"(?<=[0-9]) (?=[0-9]{3}\b|[A-Za-z]{1,5}\b)")


def as_html(letter: Letter) -> str:
    """Return the letter as one HTML document. It shows its pictures as `cid:` and their names."""
    head = (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light"><meta name="supported-color-schemes" content="light">'
        f"<title>{_shown(letter.title)}</title></head>"
    )
    return (
        f'{head}\n<body bgcolor="{PAPER}" style="margin:0;padding:0;background-color:{PAPER};color:{INK}">\n'
        f'<table {_TABLE} bgcolor="{PAPER}" style="background-color:{PAPER}">'
        '<tr><td align="center" style="padding:16px 10px 28px 10px">\n'
        f'<table {_TABLE} style="max-width:640px">'
        f'<tr><td align="left" bgcolor="{PAPER}" style="background-color:{PAPER};border-left:1px solid {MARGIN};'
        f'padding:0 0 0 14px;color:{INK};{_SERIF};font-size:16px;line-height:1.45;{_BREAK}">\n'
        f"{_body(letter)}</td></tr></table>\n</td></tr></table>\n</body></html>\n"
    )


def without_pictures(html: str, kept: Collection[Picture]) -> str:
    """Return a letter's HTML without those of its pictures that are not among `kept`."""
    names = {escape(picture.name) for picture in kept}
    return _SHOWN_PICTURE.sub(lambda found: found[0] if found[1] in names else "", html)


def _body(letter: Letter) -> str:
    parts = [_masthead(letter)]
    parts.append(f'<h1 style="margin:14px 0 8px 0;font-size:22px;line-height:1.25">{_shown(letter.title)}</h1>\n')
    parts.append(_paragraph(letter.opening, SOFT if letter.masthead else INK))
    parts += [_paragraph(note, INK) for note in letter.notes]
    parts += [_section(section) for section in letter.sections]
    if letter.closing:
        parts.append(f'<div style="border-top:1px solid {LINE};margin:24px 0 0 0;padding:8px 0 0 0">')
        parts += [_paragraph(line, SOFT) for line in letter.closing]
        parts.append("</div>\n")
    return "".join(parts)


def _masthead(letter: Letter) -> str:
    if letter.masthead is None:
        return ""
    whose, of_when = letter.masthead
    cell = f"border-bottom:3px double {LINE};padding:0 0 5px 0;vertical-align:bottom"
    return (
        f'<table {_TABLE}><tr><td style="{cell};font-variant:small-caps;font-size:17px">{_shown(whose)} </td>'
        f'<td align="right" style="{cell};color:{SOFT};font-size:14px">{_shown(of_when)}</td></tr></table>\n'
    )


def _section(section: Section) -> str:
    title = (
        f'<h2 style="margin:26px 0 6px 0;border-bottom:1px solid {LINE};padding:0 0 3px 0;'
        f'font-size:17px;line-height:1.3">{_shown(section.title)}</h2>\n'
    )
    notes = "".join(_paragraph(note, SOFT) for note in section.notes)
    picture = _picture(section.picture) if section.picture is not None else ""
    rows = "".join(_row(section, entry) for entry in section.entries)
    more = f'<p style="margin:8px 0 0 0;color:{SOFT}">{_shown(section.more)}</p>\n' if section.more else ""
    return f"{title}{notes}{picture}" + (f"<table {_TABLE}>\n{rows}</table>\n" if rows else "") + more


def _picture(picture: Picture) -> str:
    return (
        f'<p style="margin:8px 0 6px 0"><img src="cid:{escape(picture.name)}" alt="{escape(picture.alt)}" '
        f'width="{_PICTURE_WIDTH}" style="display:block;width:100%;max-width:{_PICTURE_WIDTH}px;height:auto;border:0;'
        f'background-color:{PAPER};color:{SOFT};{_SERIF};font-size:13px;line-height:1.35"></p>\n'
    )


def _row(section: Section, entry: Entry) -> str:
    sign = section.sign_of(entry)
    colour = OF_SIGN.get(sign, SOFT)
    said = f'<span style="color:{colour}"><b>{_shown(sign)}:</b></span> ' if sign else ""
    lines = "".join(_line(line, f"color:{INK}") for line in entry.lines)
    remarks = "".join(_line(line, f"color:{SOFT};font-size:14px") for line in entry.remarks)
    return (
        f'<tr><td style="border-bottom:1px solid {RULE};padding:7px 0 8px 0;{_BREAK}">'
        f"{said}<b>{_shown(entry.head)}</b>{lines}{remarks}</td></tr>\n"
    )


def _line(line: str, style: str) -> str:
    if line.startswith(_COMMAND):
        style = f"color:{SOFT};{_MONO}"
    return f'<div style="margin:2px 0 0 0;{style}">{_shown(line)}</div>'


def _paragraph(line: str, colour: str) -> str:
    return f'<p style="margin:0 0 8px 0;color:{colour}">{_shown(line)}</p>\n'


def _shown(text: str) -> str:
    """Return text escaped, with figures kept together with what they count."""
    return _FIGURE.sub("&nbsp;", escape(text))
