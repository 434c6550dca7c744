"""What one address is told in one message, sorted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from coverage_audit.judgement.verdict import Answer
from coverage_audit.judgement.wording import so_many
from coverage_audit.ledger.outgoing import Lasting
from coverage_audit.ledger.record import Transition


@dataclass(frozen=True, kw_only=True)
class Missed:
    """Nights before this one that had no audit: how many, and since which."""

    nights: int
    since: date | None

    @property
    def said(self) -> str:
        """Say it for a subject line."""
        many = so_many(self.nights, "night")
        if self.since is None:
            return f"{many} had no audit"
        return f"{many} had no audit ({self.since})" if self.nights == 1 else f"{many} had no audit since {self.since}"


@dataclass(frozen=True, kw_only=True)
class News:
    """What one address is told: what fails anew, what lasts and is told again, what recovered, what was missed.

    `closed` was waived, or is not asked for any more: nothing was observed to recover. What `eased` (from not covered
    to unverified) is said only beside such news.
    """

    failing: Sequence[Transition] = ()
    reminded: Sequence[Lasting] = ()
    recovered: Sequence[Transition] = ()
    eased: Sequence[Transition] = ()
    closed: Sequence[Transition] = ()
    missed: Missed | None = None

    @property
    def waived(self) -> list[Transition]:
        """What its owner accepted for a while."""
        return [change for change in self.closed if change.answer is Answer.WAIVED]

    @property
    def gone(self) -> list[Transition]:
        """What nothing asks for any more."""
        return [change for change in self.closed if change.answer is not Answer.WAIVED]

    @property
    def worth_telling(self) -> bool:
        """Whether there is a reason for a message."""
        return bool(self.failing or self.reminded or self.recovered or self.closed or self.missed)
