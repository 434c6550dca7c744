"""Sending what waits in the outbox: each message once, or as often as it fails, and never in quiet hours."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import takewhile
from typing import Final

from coverage_audit.errors import NoticeError
from coverage_audit.estate.model import Estate, NoticeTarget
from coverage_audit.ledger.outbox import Outbox
from coverage_audit.ledger.outgoing import Outgoing, Queued
from coverage_audit.notices.addresses import resolve
from coverage_audit.notices.delivery import Delivered, Failed, deliver
from coverage_audit.notices.message import Message
from coverage_audit.notices.quiet import quiet_until
from coverage_audit.notices.retrying import LONGEST, wait_after

PASSED_OVER: Final = timedelta(hours=24)
"""A message of this age has missed hours that were not quiet: that is no waiting any more, and is said."""


@dataclass(frozen=True, kw_only=True)
class Held:
    """It waits for the end of the target's quiet hours; `until` None: another process is sending just now."""

    target: str
    until: datetime | None


Outcome = Delivered | Failed | Held


def send_waiting(
    estate: Estate,
    outbox: Outbox,
    clock: Callable[[], datetime],
    environment: Mapping[str, str],
    *,
    at_once: bool = False,
    stopping: Callable[[], bool] = lambda: False,
) -> tuple[Outcome, ...]:
    """Send what is due, in the order in which it came in; `at_once`: also what would wait for its next try.

    Each outcome is recorded before the next message is sent; once `stopping`, none is. A message to an address that is
    declared no more stays where it is. Raises LedgerError.
    """
    with outbox.sending() as mine:
        waiting = outbox.pending() if at_once or not mine else outbox.due(clock(), LONGEST)
        if not mine:
            return tuple(Held(target=name, until=None) for name in dict.fromkeys(one.target for one in waiting))
        going_on = takewhile(lambda _: not stopping(), waiting)
        return tuple(_outcomes(estate, outbox, going_on, clock, environment))


def _outcomes(
    estate: Estate,
    outbox: Outbox,
    waiting: Iterable[Queued],
    clock: Callable[[], datetime],
    environment: Mapping[str, str],
) -> Iterator[Outcome]:
    targets = {target.name: target for target in estate.notices}
    for queued in waiting:
        target = targets.get(queued.target)
        if target is None:
            continue
        until = quiet_until(clock(), target.quiet, estate.time_zone)
        yield _send(target, queued, outbox, clock, environment) if until is None else _held(queued, clock(), until)


def _held(queued: Queued, now: datetime, until: datetime) -> Held | Failed:
    if now - queued.created < PASSED_OVER:
        return Held(target=queued.target, until=until)
    if queued.last_error is not None:
        return Failed(target=queued.target, reason=f"it waits for more than a day; tried last: {queued.last_error}")
    reason = "it waits for more than a day, and nothing sends it when its quiet hours are over"
    return Failed(target=queued.target, reason=f"{reason} (audit outside of them)")


def _send(
    target: NoticeTarget,
    queued: Queued,
    outbox: Outbox,
    clock: Callable[[], datetime],
    environment: Mapping[str, str],
) -> Delivered | Failed:
    kept = queued.message
    outcome = send_to(target, _message(kept, outbox), environment, event=kept.event, served=queued.served)
    if isinstance(outcome, Delivered):
        outbox.accepted(kept.event, clock())
    else:
        served = queued.served | outcome.served
        outbox.tried(queued, clock(), outcome.reason, wait_after(queued.tries + 1), served)
    return outcome


def _message(kept: Outgoing, outbox: Outbox) -> Message:
    """Return a kept message with what goes with it; what is gone of that is left out."""
    return Message(
        subject=kept.subject,
        text=kept.text,
        html=kept.html,
        short=kept.short,
        page=next((found for name in kept.pages if (found := outbox.page(name)) is not None), None),
        pictures=tuple(shown for one in kept.pictures if (shown := outbox.picture(one)) is not None),
        kind=kept.kind,
    )


def send_to(
    target: NoticeTarget,
    message: Message,
    environment: Mapping[str, str],
    *,
    event: str | None = None,
    served: frozenset[str] = frozenset(),
) -> Delivered | Failed:
    """Send one message to a target, now. Never raises."""
    try:
        return deliver(target.name, resolve(target, environment), message, event=event, served=served)
    except NoticeError as error:
        return Failed(target=target.name, reason=str(error))
