"""The weekly pages of a ledger: their files and index in the state folder, and which of them were sent.

A page's file is whole on the disk before anything names it. That it was sent, and the letters that send it, are one
transaction: so each date's page goes out once, however often it is made and whatever crashes in between.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager
from datetime import date
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Engine, Row, insert, select, update

from coverage_audit.ledger import queue
from coverage_audit.ledger.folder import StateFolder, speaking_of, write_whole
from coverage_audit.ledger.lock import Lock, exclusive
from coverage_audit.ledger.outgoing import Outgoing
from coverage_audit.ledger.past_record import SummaryRecord
from coverage_audit.ledger.tables_of_nights import SUMMARIES
from coverage_audit.ledger.transactions import Transactions

INDEX: Final = "index.html"
"""The file in `summaries/` that lists the pages."""


class SummaryBook(Transactions):
    """The weekly pages of a ledger. Every method raises LedgerError."""

    def __init__(self, engine: Engine, folder: StateFolder, where: str) -> None:
        super().__init__(engine, where)
        self._folder = folder

    def making(self) -> AbstractContextManager[None]:
        """Be the one who makes pages; raises LedgerBusyError where another process or thread does."""
        return exclusive(self._folder.path, Lock.SUMMARY)

    def made(self) -> frozenset[date]:
        """Return the dates whose pages went out: those are done."""
        return frozenset(record.page_of for record in self.all() if record.sent is not None)

    def all(self) -> tuple[SummaryRecord, ...]:
        """Return all pages, the oldest first."""
        with self._reading() as connection:
            return tuple(_record(row) for row in connection.execute(select(SUMMARIES).order_by(SUMMARIES.c.page_of)))

    def keep(self, page_of: date, page: str) -> Path:
        """Write the page of a date in the place of any earlier one, whole or not at all; return its file.

        Only within `making`, as `keep_index`.
        """
        return self._write(self.file_of(page_of), page)

    def file_of(self, page_of: date) -> Path:
        """Return where the page of a date lies, once there is one."""
        return self._folder.summaries / f"{page_of.isoformat()}.html"

    def keep_index(self, page: str) -> Path:
        """Write the index of the pages, whole or not at all."""
        return self._write(self._folder.summaries / INDEX, page)

    def record(self, made: SummaryRecord, letters: Mapping[str, Outgoing] | None = None) -> bool:
        """Note a page, and put its letters (by target) into the outbox: both or neither. Only within `making`.

        `letters` None: it is only made. Where the page of that date was sent before, nothing more is put in; returns
        whether this has sent it.
        """
        with self._writing() as connection:
            known = connection.execute(select(SUMMARIES).where(SUMMARIES.c.page_of == made.page_of.isoformat())).first()
            sends = letters is not None and (known is None or known.sent is None)
            for target, letter in (letters or {}).items() if sends else ():
                queue.put(connection, target, [letter], made.made)
            sent = made.made if sends else known and known.sent
            values = {"page_of": made.page_of.isoformat(), "made": made.made, "file": made.file, "sent": sent}
            if known is None:
                connection.execute(insert(SUMMARIES).values(**values))
            else:
                connection.execute(update(SUMMARIES).where(SUMMARIES.c.id == known.id).values(**values))
            return sends

    def _write(self, file: Path, page: str) -> Path:
        with speaking_of(self._folder.path):
            for left in file.parent.glob("*.part"):  # by one who was killed: only one makes pages at a time
                left.unlink(missing_ok=True)
            write_whole(file, page.encode("utf-8", "backslashreplace"))
        return file


def _record(row: Row[Any]) -> SummaryRecord:
    return SummaryRecord(page_of=date.fromisoformat(row.page_of), made=row.made, file=row.file, sent=row.sent)
