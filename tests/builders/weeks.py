"""A station with many recorded nights, of which weekly pages are made: a real ledger, a clock that the test moves."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from coverage_audit.estate.model import Estate, NoticeKind, NoticeTarget
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.record import AuditRecord
from coverage_audit.wiring import Summary, make_summary, send_all
from tests.builders.judged_station import the_station

DAY = timedelta(days=1)
WEEK = timedelta(days=7)
MONDAY = date(2026, 11, 23)
AT_SEVEN = datetime(2026, 11, 23, 7, 0, tzinfo=UTC)
LAST_NIGHT = datetime(2026, 11, 23, 4, 10, tzinfo=UTC)
WANTED = frozenset({NoticeKind.FAILING, NoticeKind.SUMMARY})
UNWANTED = frozenset({NoticeKind.FAILING, NoticeKind.RECOVERED})


def the_addresses() -> tuple[NoticeTarget, ...]:
    """Two addresses that want the weekly page, and one that does not."""
    return (
        NoticeTarget(name="owner", url_env="OWNER_URL", send=WANTED),
        NoticeTarget(name="archive", url_env="ARCHIVE_URL", send=frozenset({NoticeKind.SUMMARY})),
        NoticeTarget(name="phone", url_env="OWNER_URL", send=UNWANTED),
    )


@dataclass(kw_only=True)
class Weeks:
    """The station's state folder, its estate, and the moment."""

    state: Path
    url: str | None = None
    now: datetime = AT_SEVEN
    estate: Estate = field(default_factory=lambda: replace(the_station()[1], notices=the_addresses()))
    judged: JudgedEstate = field(default_factory=lambda: the_station()[0])

    def opened(self) -> Ledger:
        """Open the ledger; the test closes it."""
        return open_ledger(self.state, self.url)

    def night(self, started: datetime, judged: JudgedEstate | None = None) -> None:
        """Record the audit of one night."""
        seen = judged or self.judged
        of_then = replace(seen, started=started, finished=started + timedelta(minutes=20))
        with exclusive(self.state), self.opened() as ledger:
            ledger.record(AuditRecord(judged=of_then, estate_text="estate: Saltreach Field Station\n"))

    def nights(self, count: int, last: datetime = LAST_NIGHT) -> None:
        """Record the audits of so many nights, the last of which began then."""
        with exclusive(self.state), self.opened() as ledger:
            for number in reversed(range(count)):
                started = last - number * DAY
                of_then = replace(self.judged, started=started, finished=started + timedelta(minutes=20))
                ledger.record(AuditRecord(judged=of_then, estate_text="estate: Saltreach Field Station\n"))

    def clock(self) -> datetime:
        """The moment by the station's clock."""
        return self.now

    def make(self, ledger: Ledger, page_of: date = MONDAY, *, send: bool = True) -> Summary:
        """Make the weekly page of a date."""
        return make_summary(self.estate, ledger, page_of, clock=self.clock, send=send)

    def send(self, ledger: Ledger) -> None:
        """Send what waits."""
        send_all(self.estate, ledger, clock=self.clock)
