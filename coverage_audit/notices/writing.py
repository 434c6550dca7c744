"""A letter as plain text, and in few words."""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.notices.message import Entry, Letter, Section

SHORT_ENTRIES = 6
SHORT_LENGTH = 900


def as_text(letter: Letter) -> str:
    """Return the letter as plain text."""
    return "\n".join(_lines(letter)) + "\n"


def _lines(letter: Letter) -> Iterator[str]:
    if letter.masthead is not None:
        yield from (*letter.masthead, "")
    yield from (letter.title, "", letter.opening, *letter.notes)
    for section in letter.sections:
        yield from ("", section.title, "-" * len(section.title), *section.notes)
        for entry in section.entries:
            yield from _entry(section, entry)
        if section.more:
            yield f"* {section.more}"
    if letter.closing:
        yield from ("", *letter.closing)


def _entry(section: Section, entry: Entry) -> Iterator[str]:
    yield f"* {signed(section, entry)}"
    yield from (f"  {line}" for line in (*entry.lines, *entry.remarks))


def signed(section: Section, entry: Entry) -> str:
    """Return an entry's head with its sign before it."""
    sign = section.sign_of(entry)
    return f"{sign}: {entry.head}" if sign else entry.head


def as_short(letter: Letter) -> str:
    """Return a few lines for a push message: each finding's sign, name and first line; else the title or opening."""
    entries = [
        f"{signed(section, entry)}{': ' + entry.lines[0] if entry.lines else ''}"
        for section in letter.sections
        if section.brief
        for entry in section.entries
    ]
    others = len(entries[SHORT_ENTRIES:]) + sum(section.left_out for section in letter.sections if section.brief)
    more = [f"and {others} more"] if others else []
    title = [letter.title] if letter.masthead else []  # without one it is the subject, which stands above these words
    said = [*title, *letter.notes, *entries[:SHORT_ENTRIES], *more]
    text = "\n".join(said if title or entries else [letter.opening, *said])
    return text if len(text) <= SHORT_LENGTH else f"{text[: SHORT_LENGTH - 1]}…"
