"""What goes with the messages of the outbox: pages and pictures, kept as files until no message waits for them.

A file stays for an hour whether or not a message names it: whoever kept it may be about to put in the one that will.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Final

from coverage_audit.ledger.folder import StateFolder, speaking_of, stamp, write_whole
from coverage_audit.ledger.outgoing import KeptPicture, Picture, Queued

_PREFIX: Final = "notice-"
_GRACE_S: Final = 3600.0


class Attached:
    """The kept files of an outbox, in its state folder."""

    def __init__(self, folder: StateFolder) -> None:
        self._folder = folder
        self._pages = folder.pages

    def keep_page(self, page: str, at: datetime, waiting: Iterable[Queued]) -> str:
        """Keep a page, on the disk before this returns; return its name. Raises LedgerError."""
        return self._keep(page.encode("utf-8", "backslashreplace"), "html", at, waiting)

    def keep_pictures(
        self, pictures: Iterable[Picture], at: datetime, waiting: Iterable[Queued]
    ) -> tuple[KeptPicture, ...]:
        """Keep pictures, on the disk before this returns; return them by their names. Raises LedgerError."""
        listed = tuple(waiting)
        return tuple(
            KeptPicture(name=one.name, alt=one.alt, file=self._keep(one.png, "png", at, listed)) for one in pictures
        )

    def page(self, name: str) -> str | None:
        """Return a kept page, or None where it is gone."""
        content = self._content(name)
        try:
            return None if content is None else content.decode()
        except UnicodeDecodeError:
            return None

    def picture(self, kept: KeptPicture) -> Picture | None:
        """Return a kept picture, or None where it is gone."""
        content = self._content(kept.file)
        return None if content is None else Picture(name=kept.name, alt=kept.alt, png=content)

    def _keep(self, content: bytes, ending: str, at: datetime, waiting: Iterable[Queued]) -> str:
        name = f"{_PREFIX}{stamp(at)}-{secrets.token_hex(4)}.{ending}"
        with speaking_of(self._folder.path):
            write_whole(self._pages / name, content)
            self._clean(waiting, self._pages / name)
        return name

    def _clean(self, waiting: Iterable[Queued], newest: Path) -> None:
        """Remove what no waiting message names; its age is told by the file that was written just now."""
        named = {name for one in waiting for name in one.message.pages}
        named |= {picture.file for one in waiting for picture in one.message.pictures}
        until = newest.stat().st_mtime - _GRACE_S
        for entry in self._pages.glob(f"{_PREFIX}*"):
            with suppress(FileNotFoundError):  # whoever keeps one just now cleans as well
                if entry.name not in named and entry.stat().st_mtime < until:
                    entry.unlink()

    def _content(self, name: str) -> bytes | None:
        try:
            return (self._pages / name).read_bytes()
        except OSError:
            return None
