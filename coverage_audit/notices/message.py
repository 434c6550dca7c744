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
    """One finding in a letter: its name in a few words, what there is to say, and what matters less, line by line.

    `sign` is a word that stands before it (None: its section's); meaning never rests on colour alone.
    """

    head: str
    lines: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    sign: str | None = None


@dataclass(frozen=True, kw_only=True)
class Section:
    """Findings of one sort. `picture` shows what its entries say; `brief` False: it is left out where words are few.

    `left_out` more are on the page that goes along.
    """

    title: str
    sign: str = ""
    entries: tuple[Entry, ...] = ()
    notes: tuple[str, ...] = ()
    picture: Picture | None = None
    brief: bool = True
    left_out: int = 0

    @property
    def more(self) -> str:
        """Say how many are left out (empty: none)."""
        return f"and {self.left_out} more, on the page" if self.left_out else ""

    def sign_of(self, entry: Entry) -> str:
        """Return the word that stands before an entry (empty: none)."""
        return self.sign if entry.sign is None else entry.sign


@dataclass(frozen=True, kw_only=True)
class Letter:
    """What is to be said, before it is text or HTML; every string in it prints on one line.

    `masthead` stands above all: whose it is, and of when. `notes` are said after the opening, also where words are few.
    """

    title: str
    opening: str
    masthead: tuple[str, str] | None = None
    notes: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    closing: tuple[str, ...] = ()

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """All pictures of its sections."""
        return tuple(section.picture for section in self.sections if section.picture is not None)
