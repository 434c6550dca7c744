"""A notice, ready to be sent: the same thing said for a mail, for a push message and as plain text."""

from __future__ import annotations

from dataclasses import dataclass

from coverage_audit.ledger.outgoing import OutgoingKind, Picture


@dataclass(frozen=True, kw_only=True)
class Message:
    """`subject` is one printable line that alone says what matters; `short` is for services that take few words.

    `html` and `text` say the same. `page` is the whole page as HTML, attached where mail is sent. `kind` is what it is
    about first of all. `html` shows `pictures` as `cid:` and their names, and says the same without them.
    """

    subject: str
    text: str
    html: str
    short: str
    page: str | None = None
    pictures: tuple[Picture, ...] = ()
    kind: OutgoingKind = OutgoingKind.DAEMON


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One finding in a letter: its name in a few words, and what there is to say, line by line."""

    head: str
    lines: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Section:
    """Findings of one sort. `sign` is a word that stands beside each: meaning never rests on colour alone."""

    title: str
    sign: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, kw_only=True)
class Letter:
    """What is to be said, before it is text or HTML; every string in it prints on one line.

    `notes` are said after the opening, also where words are few.
    """

    title: str
    opening: str
    sections: tuple[Section, ...] = ()
    closing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
