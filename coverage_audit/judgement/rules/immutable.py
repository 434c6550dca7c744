"""Immutable: as many proven copies as the policy asks for that cannot be changed from where the original is worked on.

What it asks: the policy's `immutable`, counted over proven copies apart from the original. Shown to be unchangeable are
a recovery point that is a read-only btrfs or ZFS snapshot on another machine and was never written to since it was
first seen; a volume that its own machine has mounted read-only, everywhere (that is how an optical disc shows itself);
a shelf drive that is not left plugged in; a volume that is offline and was not attached. What is only declared
(`immutable: true`, an optical medium, hosted space) is said as declared and shows nothing: it is counted as what might
be, so that the criterion stays unverified. Who has tried that nothing there can be changed accepts the finding for a
while, with name and reason: `coverage-audit waive`. What the original's device has mounted read-write is not immutable.

What it cannot see: whether a password or a key that lies on the original's machine opens the copy's machine, too. Who
can log in there as its administrator can delete its snapshots.

Why: who takes over the machine on which the original is worked on, or the account of who works there, changes all that
can be written from there in the same night: by encryption, by a deletion that is mirrored, by a mistake.

How to mend: let the copy's machine fetch what it copies and make read-only snapshots of it; or a shelf drive that is
unplugged after its run. Unmount what the original's machine need not write to.

The control: NIST SP 800-53 Rev. 5 CP-9 d and CP-9(7) (protection of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.firmness import Firm
from coverage_audit.judgement.independence import Apart
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.telling import standings, with_uncounted
from coverage_audit.judgement.verdict import EvidenceItem, Finding
from coverage_audit.judgement.wording import copies

RULE = Rule(
    id="immutable",
    title="Copies that cannot be changed",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 d and CP-9(7)"),
    doc=__doc__ or "",
)

_WORDS = {
    Firm.SHOWN: "is shown to be unchangeable from there",
    Firm.OPEN: "is not shown to be unchangeable",
    Firm.NOT: "can be changed",
}


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the number of proven copies that are out of reach of changes against the policy's `immutable`."""
    required = context.policy.immutable
    if required is None:
        return
    span, said = context.holdings.immutable(), list(_said(context))
    sentence = f"{span} proven {'copy' if span.certain == 1 else 'copies'} cannot be changed"
    where = f"from {context.dataset.original.volume.device}, where the original is worked on"
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=span.answer(required),
        measured=f"{span} immutable",
        required=f"at least {copies(required)} immutable",
        message=with_uncounted("; ".join([f"{sentence} {where}", *(what for _, what in said)]), context),
        mend="Let the copy's machine make read-only snapshots, or unplug a shelf drive after its run. Unmount what the "
        "original's machine need not write to. Who knows better than what is shown can waive this for a while.",
        evidence=(
            *standings(context),
            *(EvidenceItem(what=what, where=where, at=None, how="shown or declared, as said") for where, what in said),
        ),
        control=RULE.control,
        degree=span.lacking(required),
    )


def _said(context: DatasetContext) -> Iterable[tuple[str, str]]:
    """Say of each copy how firm it is, and why."""
    for number, holding in enumerate(context.holdings.places):
        if number == ORIGINAL:
            continue
        apart = context.holdings.relations.between(ORIGINAL, number).apart
        firm, why = context.holdings.firm(number), holding.firmness.why
        if apart is not Apart.SHOWN and firm is not holding.firmness.firm:
            why = "it lies on the original's own machine" if apart is Apart.ONE else "it is not shown to lie apart"
        yield str(holding.address), f"{holding.address} {_WORDS[firm]}: {why}"
