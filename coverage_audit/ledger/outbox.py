"""The outbox: what is to be told to whom, kept from the audit that saw it until a service took it.

A message enters it in one transaction with the marks that say which changes it tells, so no crash can part them.
Sending is another matter: whoever sends notes each try and what came of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime, timedelta

from sqlalchemy import Engine

from coverage_audit.errors import LedgerBusyError
from coverage_audit.ledger import queue, telling
from coverage_audit.ledger.attached import Attached
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.lock import Lock, exclusive
from coverage_audit.ledger.outgoing import KeptPicture, Lasting, Outgoing, Picture, Queued
from coverage_audit.ledger.record import Transition
from coverage_audit.ledger.transactions import Transactions


class Outbox(Transactions):
    """The outbox of a ledger. Every method raises LedgerError."""

    def __init__(self, engine: Engine, folder: StateFolder, where: str) -> None:
        super().__init__(engine, where)
        self._folder = folder
        self._attached = Attached(folder)

    def untold(self, target: str, now: datetime) -> tuple[Transition, ...]:
        """Return the changes that a target has still to be told; `now` is the audit's start."""
        with self._writing() as connection:
            return telling.untold(connection, target, now)

    def lasting(self, target: str) -> tuple[Lasting, ...]:
        """Return the open findings of which a target was told, each with when it last was."""
        with self._reading() as connection:
            return telling.lasting(connection, target)

    def enqueue(
        self,
        target: str,
        messages: Iterable[Outgoing],
        at: datetime,
        *,
        transitions: Iterable[Transition] = (),
        reminded: Iterable[Lasting] = (),
    ) -> None:
        """Put messages in, and mark what they tell as told: both or neither."""
        with self._writing() as connection:
            queue.put(connection, target, messages, at)
            telling.mark_told(connection, target, (one.number for one in transitions), at)
            telling.mark_reminded(connection, target, (one.finding.id for one in reminded), at)

    def pending(self) -> tuple[Queued, ...]:
        """Return all that no service took yet, in the order in which it came in."""
        with self._reading() as connection:
            return queue.pending(connection)

    def due(self, now: datetime, longest: timedelta) -> tuple[Queued, ...]:
        """Return what is to be tried now; `longest` is the longest wait between two tries.

        What is to wait for longer was put in by a clock that was ahead and was set back: that must not silence it.
        """
        return tuple(one for one in self.pending() if not now < one.not_before <= now + longest)

    def tried(self, queued: Queued, at: datetime, error: str, wait: timedelta, served: frozenset[str]) -> None:
        """Note a try that failed, why, and how long to wait before the next."""
        with self._writing() as connection:
            queue.tried(connection, queued, at, error, at + wait, served)

    def accepted(self, event: str, at: datetime) -> None:
        """Note that a service took it; of the message only its subject is kept."""
        with self._writing() as connection:
            queue.accepted(connection, event, at)

    def knows(self, event: str) -> bool:
        """Whether a message of this name was ever put in, for whichever target."""
        with self._reading() as connection:
            return queue.known(connection, event)

    def keep_page(self, page: str, at: datetime) -> str:
        """Keep a page for messages that will name it, on the disk before this returns; return its name."""
        return self._attached.keep_page(page, at, self.pending())

    def keep_pictures(self, pictures: Iterable[Picture], at: datetime) -> tuple[KeptPicture, ...]:
        """Keep the pictures of messages that will name them, on the disk before this returns."""
        return self._attached.keep_pictures(pictures, at, self.pending())

    def page(self, name: str) -> str | None:
        """Return a kept page (None: it is gone; what it was to accompany says the same in short)."""
        return self._attached.page(name)

    def picture(self, kept: KeptPicture) -> Picture | None:
        """Return a kept picture (None: it is gone; the message says in words what it shows)."""
        return self._attached.picture(kept)

    @contextmanager
    def sending(self) -> Iterator[bool]:
        """Be the one who sends; yields False where another process or thread is: nothing may be sent then."""
        with ExitStack() as held:
            try:
                held.enter_context(exclusive(self._folder.path, Lock.SENDING))
            except LedgerBusyError:
                yield False
            else:
                yield True
