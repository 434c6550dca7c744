"""One tick of the daemon: what has changed is seen, what is due is begun, what waits is sent. Nothing in it waits."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Final

from coverage_audit.daemon.alive import NightEnd, night_end
from coverage_audit.daemon.direct import DirectNotices
from coverage_audit.daemon.log import Log
from coverage_audit.daemon.manager import ServiceManager
from coverage_audit.daemon.measuring import Figures
from coverage_audit.daemon.nights import Nights
from coverage_audit.daemon.own_words import estate_refused, ledger_lost
from coverage_audit.daemon.reloading import InForce, look
from coverage_audit.daemon.sending import Sender
from coverage_audit.daemon.stepping import Moment, step
from coverage_audit.daemon.ticking import CALLING, SENDING
from coverage_audit.daemon.weekly import Weekly
from coverage_audit.errors import LedgerBusyError, LedgerError
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.notices.telling import put_notice
from coverage_audit.notices.unheard import unheard
from coverage_audit.wiring import Clock, reading

PATIENCE: Final = timedelta(minutes=15)
"""So long the ledger may be out of use before that is told past the outbox."""

NO_CLOCK_IS_EARLIER: Final = datetime(2026, 1, 1, tzinfo=UTC)
"""A clock that shows an earlier time is not set yet: machines without a battery begin in 1970."""

Submit = Callable[[str, Callable[[], None]], bool]


@dataclass(frozen=True, kw_only=True)
class Means:
    """What the daemon works with. `hold` makes sure that no other daemon works on the state folder."""

    file: Path
    state: Path
    clock: Clock
    log: Log
    manager: ServiceManager
    nights: Nights
    weekly: Weekly
    sender: Sender
    hold: Callable[[], None]


class Serving:
    """The daemon between two ticks. For one thread, save `reread`."""

    def __init__(self, means: Means, in_force: InForce) -> None:
        self._means = means
        self._in_force = in_force
        self._reread = False
        self._refused_since: date | None = None
        self._last: Moment | None = None
        self._lost_since: datetime | None = None
        self._lost_why = ""
        self._direct = DirectNotices(means.state)
        self._figures = Figures(means.log)
        self._news = False
        self._said_unset = False
        self._ready = False
        self._seed = b""
        self._end: NightEnd | None = None
        if in_force.refused is not None:
            means.log.trouble("estate refused", why=in_force.refused.why)

    def reread(self) -> None:
        """Let the next tick take what the estate file holds, without a second look."""
        self._reread = True

    def tick(self, submit: Submit) -> None:
        """Do all that is to be done now. Raises LedgerBusyError where another daemon took the state folder."""
        means = self._means
        now = means.clock()
        self._compare_clocks(now)
        self._look_at_the_estate()
        self._news |= means.nights.look(now)
        means.weekly.look(now)
        self._with_the_ledger(now, submit)
        if self._lost_since is None:
            submit(SENDING, partial(means.sender.send, self._in_force.estate))
        if self._end is not None:
            submit(CALLING, partial(means.sender.call_out, self._in_force.estate, self._end))
        self._tell_the_manager()

    def _with_the_ledger(self, now: datetime, submit: Submit) -> None:
        means, estate = self._means, self._in_force.estate
        try:
            means.hold()
        except LedgerBusyError:
            raise
        except LedgerError as error:
            self._without_ledger(str(error), now, submit)
            return
        try:
            with reading(means.state) as ledger:
                self._tell_of_the_estate(ledger, now)
                if self._clock_is_set(now):
                    means.nights.advance(estate, ledger, now)
                    means.weekly.advance(estate, ledger, now, night_runs=means.nights.running is not None)
                self._end = self._last_end(ledger)
                self._figures.write(estate, ledger, now, news=self._news)
                self._news = False
        except LedgerError as error:
            self._without_ledger(str(error), now, submit)
        else:
            if self._lost_since is not None:
                means.log("ledger in use again", since=self._lost_since.isoformat())
            self._lost_since, self._lost_why = None, ""

    def _without_ledger(self, why: str, now: datetime, submit: Submit) -> None:
        means, estate = self._means, self._in_force.estate
        if self._lost_since is None or now < self._lost_since:
            self._lost_since = now
        if why != self._lost_why:
            means.log.trouble("ledger cannot be used", why=why)
        self._lost_why = why
        means.nights.without_ledger(estate, why, now)
        unwritten = means.nights.unwritten
        if unwritten is not None:
            self._end = night_end(estate.name, self._seed, unwritten, None)
        if unwritten is None and now - self._lost_since < PATIENCE:
            return
        today = now.astimezone(estate.time_zone).date()
        if self._direct.due(today, now):
            notice, arrived = ledger_lost(why, today), partial(self._direct.arrived, today)
            if submit(SENDING, partial(means.sender.send_directly, estate, notice, arrived)):
                self._direct.tried(now)

    def _last_end(self, ledger: Ledger) -> NightEnd | None:
        self._seed = ledger.seed
        last = ledger.nights.last_ended()
        if last is None:
            return None
        return night_end(self._in_force.estate.name, ledger.seed, last, ledger.nights.conclusion_of(last.night))

    def _look_at_the_estate(self) -> None:
        means, before = self._means, self._in_force
        at_once, self._reread = self._reread, False
        self._in_force = look(means.file, before, at_once=at_once)
        if self._in_force.estate is not before.estate or not self._ready:
            self._say_who_hears_nothing()
        refused = self._in_force.refused
        if refused is not None and refused != before.refused:
            means.log.trouble("estate refused", why=refused.why)
        elif refused is None and (self._in_force.estate is not before.estate or before.refused is not None):
            means.log("estate re-read", datasets=len(self._in_force.estate.datasets))
        elif at_once:
            means.log("estate re-read: unchanged")

    def _say_who_hears_nothing(self) -> None:
        silent = unheard(self._in_force.estate)
        if silent is not None:
            self._means.log.trouble("not everything is told", why=silent)

    def _tell_of_the_estate(self, ledger: Ledger, now: datetime) -> None:
        estate, refused = self._in_force.estate, self._in_force.refused
        if refused is None:
            self._refused_since = None
            return
        today = now.astimezone(estate.time_zone).date()
        self._refused_since = min(self._refused_since or today, today)
        put_notice(estate, ledger.outbox, estate_refused(refused, self._refused_since, today), now)

    def _compare_clocks(self, now: datetime) -> None:
        moment = Moment(wall=now, monotonic=time.monotonic())
        stepped = None if self._last is None else step(self._last, moment)
        if stepped is not None:
            what = "clock set back" if stepped < timedelta(0) else "clock set forward, or the machine slept"
            self._means.log.trouble(what, seconds=round(stepped.total_seconds()))
        self._last = moment

    def _clock_is_set(self, now: datetime) -> bool:
        is_set = now >= NO_CLOCK_IS_EARLIER
        if not is_set and not self._said_unset:
            self._means.log.trouble("the clock is not set: no night begins")
        self._said_unset = not is_set
        return is_set

    def _tell_the_manager(self) -> None:
        means = self._means
        running = means.nights.running
        status = "waiting for the next night" if running is None else f"auditing, night {running}"
        if self._lost_since is not None:
            status = f"the ledger cannot be used; {status}"
        if not self._ready:
            self._ready = True
            means.manager.ready(status)
        means.manager.working(status)
        means.manager.petted()
