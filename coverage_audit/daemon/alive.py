"""The signal to the outside after each night, a failed one too, so that silence is noticed elsewhere.

One night's end is one event; it is called out until it was taken or the next night's takes its place. Each call is
made by a process of its own, which is ended at its deadline: no name service, no server that answers a byte a minute
and no library can hold the daemon, and nothing that holds the address gets out.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
from collections.abc import Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Final

from coverage_audit.daemon.calling import Errand, call_and_report
from coverage_audit.errors import NoticeError
from coverage_audit.estate.model import Kept
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.folder import speaking_of, write_whole
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.notices.addresses import resolve
from coverage_audit.notices.retrying import wait_after

SCHEMA: Final = "coverage-audit/alive/1"

WAIT_S: Final = 30
"""How long one call may take, by its own process."""

GRACE_S: Final = 15
"""How much longer that process is waited for (it starts, and imports) before it is ended."""

LONGEST: Final = timedelta(minutes=15)
"""The longest wait before what failed is tried again: who listens for silence listens for hours."""


@dataclass(frozen=True, kw_only=True)
class NightEnd:
    """How a night ended, as it is called out. `event` names it; `conclusion` None: no audit of it was concluded."""

    event: str
    estate: str
    night: date
    outcome: NightOutcome
    conclusion: Conclusion | None
    finished: datetime
    missed: int

    def body(self) -> bytes:
        """Return what is sent: one JSON object, of ASCII letters alone."""
        told = {
            "schema": SCHEMA,
            "event": self.event,
            "estate": self.estate,
            "night": self.night.isoformat(),
            "outcome": self.outcome.value,
            "conclusion": None if self.conclusion is None else self.conclusion.value,
            "finished": self.finished.isoformat(),
            "missed": self.missed,
        }
        return json.dumps(told).encode("ascii")


def night_end(estate: str, seed: bytes, record: NightRecord, conclusion: Conclusion | None) -> NightEnd | None:
    """Return the event of a night's end (None: it has not ended); the same as often as it is asked for.

    `seed` is the ledger's: two state folders never name an event alike. `conclusion` is that of the night's audit.
    """
    if record.outcome is None or record.finished is None:
        return None
    named = f"{record.night.isoformat()} {record.outcome.value}".encode("ascii")
    return NightEnd(
        event=hashlib.blake2s(named, key=seed, digest_size=16).hexdigest(),
        estate=estate,
        night=record.night,
        outcome=record.outcome,
        conclusion=conclusion if record.outcome is NightOutcome.AUDITED else None,
        finished=record.finished,
        missed=record.missed,
    )


def call(kept: Kept, environment: Mapping[str, str], end: NightEnd, *, wait_s: float = WAIT_S) -> str | None:
    """Call a night's end out; return why it was not taken (None: it was). Never raises; takes up to a minute.

    The reason holds nothing of the address.
    """
    try:
        url = resolve(kept, environment)
    except NoticeError as error:
        return str(error)
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    errand = Errand(url=url, body=end.body(), event=end.event, wait_s=wait_s)
    child = context.Process(target=call_and_report, args=(there, errand), daemon=True)
    child.start()
    there.close()
    try:
        with closing(here):
            if not here.poll(wait_s + GRACE_S):
                return f"no answer within {wait_s:g} s"
            reason = here.recv()
            return None if reason is None else str(reason)
    except EOFError:
        return "the process that calls ended before it had an answer"
    finally:
        child.kill()
        child.join()
        child.close()


class Calls:
    """Which night's end was taken (kept in the state folder), and when one that was not is tried again."""

    def __init__(self, state: Path) -> None:
        self._file = state / "alive"
        with suppress(OSError):  # what a killed daemon left half written
            for left in state.glob(f"{self._file.name}.*.part"):
                left.unlink()
        self._taken = ""
        with suppress(OSError, ValueError):
            self._taken = self._file.read_text("ascii").strip()
        self._tried = ""
        self._tries = 0
        self._not_before: datetime | None = None

    def due(self, end: NightEnd | None, now: datetime) -> bool:
        """Whether this night's end is to be called out now."""
        if end is None or end.event == self._taken:
            return False
        if end.event != self._tried or self._not_before is None:
            return True
        # A clock that was ahead and was set back must not silence the calls.
        return not now < self._not_before <= now + LONGEST

    def failed(self, end: NightEnd, now: datetime) -> timedelta:
        """Note a call that was not taken; return the wait before the next."""
        self._tries = self._tries + 1 if end.event == self._tried else 1
        self._tried = end.event
        wait = min(LONGEST, wait_after(self._tries))
        self._not_before = now + wait
        return wait

    def taken(self, end: NightEnd) -> None:
        """Note that it was taken. Raises LedgerError where that cannot be kept; this daemon remembers it all the same.

        A crash before this is noted lets the same event be called out again, under the same name.
        """
        self._taken = end.event
        with speaking_of(self._file.parent):
            write_whole(self._file, f"{end.event}\n".encode("ascii"))
