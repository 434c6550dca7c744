"""Waiving: what an owner accepted for a while stays visible, and wakes up when its time ends or when it gets worse.

Worse is: unverified became a nonconformity; it is another trouble than the one accepted; its figure moved further
from what is required, or is not known any more; what no copy of its dataset holds doubled. That a stopped copy grows
older from day to day is what the waiver's end was set for; that its recovery point goes back is worse.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from typing import Final

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Acceptance, Answer, Finding
from coverage_audit.judgement.wording import last_day

ASKED: Final = frozenset({Answer.NONCONFORMITY, Answer.UNVERIFIED})
"""The answers that a waiver is for."""

DOUBLED: Final = 2
"""So many times what no copy held when it was waived is worse."""

SMALL: Final = 0.01
"""A growth by less than this part of the dataset is none: what came today is held by no copy tonight."""


@dataclass(frozen=True, kw_only=True)
class Stake:
    """What no copy of a finding's dataset holds, and how large the dataset is, in bytes (None: not known)."""

    exposed: int | None = None
    whole: int | None = None


UNKNOWN: Final = Stake()


@dataclass(frozen=True, kw_only=True)
class Waiver:
    """One waiver. `finding` is the finding as it was when it was given, `exposed` what no copy held then, in bytes.

    `name` is the id of the finding for which it stands; it goes along when the finding's subject is renamed.

    It holds before `until`. `unneeded_since`: since when the finding is not open, so that nothing is waived.
    """

    number: int
    name: str
    finding: Finding
    who: str
    why: str
    given: datetime
    until: datetime
    exposed: int | None = None
    unneeded_since: datetime | None = None


def waived(finding: Finding, waiver: Waiver, now: datetime, stake: Stake = UNKNOWN, zone: tzinfo = UTC) -> Finding:
    """Return the finding under its waiver: waived while that holds, else as it is, saying why it does not hold.

    A finding that is not open is returned as it is. Days are said in `zone`.
    """
    if finding.answer not in ASKED:
        return finding
    until = last_day(waiver.until, zone)
    reason = why_awake(finding, waiver, now, stake)
    who, why = visible(waiver.who), visible(waiver.why)
    if reason is not None:
        said = f"{finding.message} It was waived until {until} by {who} (“{why}”); that does not hold: {reason}."
        return replace(finding, message=said)
    acceptance = Acceptance(
        who=waiver.who, why=waiver.why, given=waiver.given, until=waiver.until, answer=finding.answer
    )
    said = f"{finding.message} Waived until {until} by {who}: “{why}”."
    return replace(finding, answer=Answer.WAIVED, message=said, acceptance=acceptance)


def why_awake(finding: Finding, waiver: Waiver, now: datetime, stake: Stake = UNKNOWN) -> str | None:
    """Say why a waiver does not hold of an open finding (None: it holds)."""
    if now >= waiver.until:
        return "its time has ended"
    if not finding.waivable:
        return "it tells of damage or of another volume now, which cannot be waived"
    return _worse(finding, waiver.finding) or _more_exposed(waiver.exposed, stake)


def _worse(now: Finding, then: Finding) -> str | None:
    if then.answer is Answer.UNVERIFIED and now.answer is Answer.NONCONFORMITY:
        return "what was unverified is a nonconformity now"
    if then.kind != now.kind and then.kind and now.kind:
        return f"it is another trouble now ({now.kind}; it was: {then.kind})"
    if then.degree is None:
        return None
    if now.degree is None:
        return f"how bad it is, is not known any more (now: {now.measured}; it was: {then.measured})"
    return f"it is worse now ({now.measured}; it was: {then.measured})" if now.degree > then.degree else None


def _more_exposed(then: int | None, stake: Stake) -> str | None:
    if then is None or stake.exposed is None or stake.exposed <= DOUBLED * then:
        return None
    if stake.whole is not None and stake.exposed - then < SMALL * stake.whole:
        return None
    return f"no copy holds {format_size(stake.exposed)} of its dataset now; it was {format_size(then)}"
