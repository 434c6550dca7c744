"""Who said that the weekly mail to an address is read: that a server took a mail is no sign that anybody reads it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import insert, select

from coverage_audit.ledger.tables_of_nights import READERS
from coverage_audit.ledger.transactions import Transactions


@dataclass(frozen=True, kw_only=True)
class Reader:
    """`who` said at an instant that the mail of a date to an address was read."""

    target: str
    page_of: date
    who: str
    at: datetime


class ReaderBook(Transactions):
    """The readers of a ledger. Every method raises LedgerError."""

    def note(self, reader: Reader) -> None:
        """Note that a mail was read."""
        values = {"target": reader.target, "page_of": reader.page_of.isoformat(), "who": reader.who, "at": reader.at}
        with self._writing() as connection:
            connection.execute(insert(READERS).values(**values))

    def last(self) -> Mapping[str, Reader]:
        """Return for each address who said so last."""
        with self._reading() as connection:
            rows = connection.execute(select(READERS).order_by(READERS.c.at, READERS.c.id)).all()
        return {
            row.target: Reader(target=row.target, page_of=date.fromisoformat(row.page_of), who=row.who, at=row.at)
            for row in rows
        }
