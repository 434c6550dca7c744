"""Clocks: the clock of each device agrees with the auditor's, so that ages can be believed.

What it asks: of every device that this audit asked, that its clock was shown and lies within `limits.clock_tolerance`.
A box that offers its files over SFTP alone shows none: that is observed, and only a copy without recovery points, on
which nothing is dated by it, can be proven there.

Why: an age is a difference of two clocks. A clock that is behind makes an old copy look fresh.

How to mend: let the device keep its time by NTP; look at its battery if it comes back wrong after every start.

The control: NIST SP 800-53 Rev. 5 CP-9 a-c, whose frequencies are measured by these clocks.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Device
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind
from coverage_audit.judgement.clock_trust import offset_in_words
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.observing import gap_item
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import device_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import duration

RULE = Rule(
    id="clocks",
    title="Clocks",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)


def check(context: EstateContext) -> Iterable[Finding]:
    """Hold each device's clock against the auditor's."""
    for device_id, facts in context.devices.items():
        device = context.estate.device(device_id)
        if isinstance(device.access, ShelfAccess):
            continue  # a drive on a shelf has no clock
        yield Finding(
            rule=RULE.id,
            subject=device_subject(device.id),
            answer=_answer(device, facts, context),
            measured=_measured(facts),
            required=f"within {duration(context.estate.limits.clock_tolerance)} of the auditor's",
            message=_message(device, facts),
            mend="Let the device keep its time by NTP.",
            evidence=(_evidence(facts),),
            control=RULE.control,
            degree=_degree(facts, context),
        )


def _answer(device: Device, facts: DeviceFacts | Gap, context: EstateContext) -> Answer:
    if isinstance(facts, Gap):
        off = facts.kind is GapKind.UNREACHABLE and device.may_be_off is not None
        return Answer.OBSERVATION if off else Answer.UNVERIFIED
    if facts.clock_offset is None:
        return Answer.OBSERVATION if facts.over == "sftp" else Answer.UNVERIFIED
    distance, known = abs(facts.clock_offset), facts.clock_uncertainty or timedelta(0)
    if distance + known <= context.estate.limits.clock_tolerance:
        return Answer.CONFORMITY
    return Answer.NONCONFORMITY if distance - known > context.estate.limits.clock_tolerance else Answer.UNVERIFIED


def _degree(facts: DeviceFacts | Gap, context: EstateContext) -> float | None:
    """Return how many times the tolerance it is off, in whole numbers: clocks jitter."""
    tolerance = context.estate.limits.clock_tolerance
    if isinstance(facts, Gap) or facts.clock_offset is None or not tolerance:
        return None
    return float(round(abs(facts.clock_offset) / tolerance))


def _measured(facts: DeviceFacts | Gap) -> str:
    if isinstance(facts, Gap) or facts.clock_offset is None:
        return "not shown"
    return offset_in_words(facts)


def _message(device: Device, facts: DeviceFacts | Gap) -> str:
    if isinstance(facts, Gap):
        return f"The clock of {device.id} was not seen: {facts.kind}" + (f" ({facts.detail})." if facts.detail else ".")
    if facts.clock_offset is None:
        why = ": it offers its files over SFTP alone" if facts.over == "sftp" else ""
        return f"{device.id} does not show its clock{why}."
    return f"The clock of {device.id} is {offset_in_words(facts)}."


def _evidence(facts: DeviceFacts | Gap) -> EvidenceItem:
    if isinstance(facts, Gap):
        return gap_item(facts)
    return EvidenceItem(
        what=f"clock: {_measured(facts)}", where=str(facts.device), at=facts.at, how=f"asked over {facts.over}"
    )
