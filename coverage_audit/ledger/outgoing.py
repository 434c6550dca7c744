"""What waits in the outbox, in plain frozen values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer, Finding


class OutgoingKind(StrEnum):
    """What a message is about; of several the first that applies."""

    FAILING = "failing"
    REMINDER = "reminder"
    RECOVERED = "recovered"
    SUMMARY = "summary"
    DAEMON = "daemon"


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture within a mail, as PNG. `name` is a plain file name by which it is shown; `alt` says what it shows."""

    name: str
    alt: str
    png: bytes


@dataclass(frozen=True, kw_only=True)
class KeptPicture:
    """A picture of a message that waits; `file` is the kept name of its bytes."""

    name: str
    alt: str
    file: str


@dataclass(frozen=True, kw_only=True)
class Outgoing:
    """A message as it is kept. `event` is unique and stays the same over all tries; `pages` are names of kept pages."""

    event: str
    kind: OutgoingKind
    subject: str
    text: str
    html: str
    short: str
    pages: tuple[str, ...] = ()
    pictures: tuple[KeptPicture, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Queued:
    """A message that its target's service has not taken yet.

    It is next tried at `not_before`. `last_error` holds nothing of any address; `served` are digests of those
    recipients who have it already.
    """

    target: str
    message: Outgoing
    created: datetime
    not_before: datetime
    tries: int
    last_try: datetime | None = None
    last_error: str | None = None
    served: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class Lasting:
    """A finding that is open `since` then, and of which a target was last `told` then."""

    finding: Finding
    dataset: DatasetId | None
    since: datetime
    told: datetime

    @property
    def answer(self) -> Answer:
        """Its answer as it stands."""
        return self.finding.answer
