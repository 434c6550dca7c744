"""Offline: as many proven copies that nothing can reach in between as the policy asks for.

What it asks: the policy's `offline`, counted over proven copies on volumes declared `offline: true`. A volume that
this audit found attached is not shown to be offline: it is offline at best. A shelf drive may be plugged in for as long
as `limits.attached_grace` says; one that stays attached for longer is not offline, whatever is declared; nor is what
the original's own device has mounted read-write over the network.

Why: what is attached can be overwritten by a mistake, a fault or an intruder in the same minute as the original.

How to mend: detach the drive after each run; or declare a copy on a volume that is offline.

The control: NIST SP 800-53 Rev. 5 CP-9 d and CP-9(7) (protection of backup information); CIS Controls v8, 11.4.
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.reach import Reach
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.shelf import attached_in_words
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.telling import standings, with_uncounted
from coverage_audit.judgement.verdict import Finding
from coverage_audit.judgement.wording import copies

RULE = Rule(
    id="offline",
    title="Copies offline",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 d and CP-9(7)"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the number of proven offline copies against the policy's `offline`."""
    required = context.policy.offline
    if required is None:
        return
    span = context.holdings.offline()
    attached = [
        f"{holding.address} is declared offline and was attached in this audit"
        for holding in context.holdings.places
        if holding.place.volume.offline and holding.attached and not holding.on_host and not context.holdings.rehearsal
    ]
    attached += [
        f"{holding.address} is not offline: {attached_in_words(holding.on_host, context.estate)}"
        for holding in context.holdings.places
        if holding.place.volume.offline and holding.on_host
    ]
    attached += [
        f"{holding.address} is not {'shown to be ' if holding.reached.reach is Reach.PERHAPS else ''}offline: "
        f"{holding.reached.why}"
        for holding in context.holdings.places
        if holding.place.volume.offline and holding.reached.reach is not Reach.NOT
    ]
    sentence = f"{span} proven {'copy is' if span.certain == 1 else 'copies are'} offline"
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=span.answer(required),
        measured=f"{span} offline",
        required=f"at least {copies(required)} offline",
        message=with_uncounted("; ".join([sentence, *attached]), context),
        mend="Detach the drive between its runs, or declare a copy on a volume that is offline.",
        evidence=standings(context),
        control=RULE.control,
        degree=span.lacking(required),
    )
