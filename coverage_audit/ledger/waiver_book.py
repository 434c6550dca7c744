"""The waivers of a ledger: given and ended by people, between audits and while one runs."""

from __future__ import annotations

from datetime import datetime

from coverage_audit.judgement.waiving import Waiver
from coverage_audit.ledger import waivers
from coverage_audit.ledger.record import EndedWaiver
from coverage_audit.ledger.transactions import Transactions


class WaiverBook(Transactions):
    """The waivers of a ledger. Every method raises LedgerError. What an audit makes of them goes with its record."""

    def give(self, finding_id: str, *, who: str, why: str, given: datetime, until: datetime) -> None:
        """Waive a finding as it was last answered (some audit has answered it); one that stood before ends."""
        with self._writing() as connection:
            waivers.write(connection, finding_id, who=who, why=why, given=given, until=until)

    def standing(self) -> tuple[Waiver, ...]:
        """Return the waivers that have not ended. One whose time is over ends with the next audit."""
        with self._reading() as connection:
            return waivers.standing(connection)

    def in_force(self, now: datetime) -> tuple[Waiver, ...]:
        """Return the waivers that have not ended and whose time is not over."""
        return tuple(waiver for waiver in self.standing() if now < waiver.until)

    def ended_since(self, instant: datetime) -> tuple[EndedWaiver, ...]:
        """Return the waivers that ended after an instant, the last one first."""
        with self._reading() as connection:
            return waivers.ended_since(connection, instant)

    def end(self, finding_id: str, at: datetime, why: str) -> bool:
        """End the waiver that stands for a finding; say whether there was one."""
        with self._writing() as connection:
            return waivers.end(connection, finding_id, at, why)
