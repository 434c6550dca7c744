"""Telling one address what it has not been told yet, and remembering that it was."""

from __future__ import annotations

from collections.abc import Mapping

from coverage_audit.errors import NoticeError
from coverage_audit.estate.model import NoticeTarget
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.notices.addresses import resolve
from coverage_audit.notices.composing import compose, compose_trial
from coverage_audit.notices.delivery import Delivered, Failed, deliver
from coverage_audit.notices.message import Message


def tell_target(
    target: NoticeTarget, judged: JudgedEstate, ledger: Ledger, *, page: str | None, environment: Mapping[str, str]
) -> Delivered | Failed | None:
    """Send what changed for this address since it was last told; None: there was nothing to tell.

    What fails to arrive is not marked as told and comes with the next audit. Raises LedgerError only.
    """
    changes = ledger.untold(target.name, judged.started)
    message = compose(judged, changes, page=page, wants=target.send)
    outcome = None if message is None else _send(target, message, environment)
    if not isinstance(outcome, Failed):
        ledger.mark_told(target.name, changes, judged.finished)
    return outcome


def try_target(target: NoticeTarget, estate: str, environment: Mapping[str, str]) -> Delivered | Failed:
    """Send a trial message: it asks for nothing and tells nothing of the estate but its name."""
    return _send(target, compose_trial(estate, target.name), environment)


def _send(target: NoticeTarget, message: Message, environment: Mapping[str, str]) -> Delivered | Failed:
    try:
        return deliver(target.name, resolve(target, environment), message)
    except NoticeError as error:
        return Failed(target=target.name, reason=str(error))
