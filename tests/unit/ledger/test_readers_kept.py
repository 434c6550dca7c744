"""Who said that mails are read, in the ledger, on either database."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.reader_book import Reader
from tests.builders.recorded import night


def a_reader(target: str, number: int, who: str = "R. Byrne") -> Reader:
    return Reader(target=target, page_of=date(2026, 11, 23), who=who, at=night(number))


def test_of_each_address_the_last_who_said_so_is_known_over_a_restart(
    ledger: Ledger, reopen: Callable[[], Ledger]
) -> None:
    assert ledger.readers.last() == {}
    for reader in (a_reader("household", 3), a_reader("household", 1, "A. Byrne"), a_reader("archive", 2)):
        ledger.readers.note(reader)
    with reopen() as again:
        assert again.readers.last() == {"household": a_reader("household", 3), "archive": a_reader("archive", 2)}
