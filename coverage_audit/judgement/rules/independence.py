"""Independence: the proven copies are shown apart, so that no one loss takes two of them.

What it asks: that the count of copies does not fail because two of them are one (one machine under two names, one
filesystem or drive, a guest and its host, a network mount and its server) or are not shown to be apart.

Why: a second name is no second copy. What a box does not show of itself is not taken for good: it stays unverified
unless the owner attests by name that two devices are apart, and then that word stands beside the conclusion.

How to mend: move a copy to a device of its own; say `runs_on` or `stored_on` where a guest stands; let the box show
its machine id, boot id and filesystem UUID; or write `attested_apart` with a statement.

The control: NIST SP 800-53 Rev. 5 CM-8 (an inventory that counts nothing twice) and CP-6(1) (separation).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.independence import Apart, Relation
from coverage_audit.judgement.observing import of_place
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.verdict import Answer, Finding, Standing

RULE = Rule(
    id="independence",
    title="Copies apart from each other",
    control=supports("NIST SP 800-53 Rev. 5 CM-8 and CP-6(1)"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say which places are one or not shown apart, and whether the count of copies fails by that."""
    pairs = list(_pairs(context))
    trouble = [sentence for sentence, found in pairs if found.apart is not Apart.SHOWN]
    attested = [sentence for sentence, found in pairs if found.attested]
    span = context.holdings.copies()
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=_answer(context, troubled=bool(trouble)),
        measured=f"{span} apart, of {len(context.holdings.perhaps())} places that may count",
        required=f"{context.policy.copies} apart",
        message=" ".join(trouble + attested) or "Every two places that may count are shown apart.",
        mend="Move a copy to a device of its own, let the boxes show who they are, or attest that they are apart.",
        evidence=tuple(item for holding in context.holdings.places for item in of_place(holding.place)),
        control=RULE.control,
        degree=span.lacking(context.policy.copies),
    )


def _answer(context: DatasetContext, *, troubled: bool) -> Answer:
    """Blame independence only for what it decides: the count that every place being apart would mend."""
    if not troubled:
        return Answer.CONFORMITY
    required, span = context.policy.copies, context.holdings.copies()
    if span.assumed < required <= len(context.holdings.perhaps()):
        return Answer.NONCONFORMITY
    if span.certain < required <= span.assumed and required <= len(context.holdings.proven()):
        return Answer.UNVERIFIED
    return Answer.OBSERVATION


def _pairs(context: DatasetContext) -> Iterator[tuple[str, Relation]]:
    """Every pair on two devices of which neither is known to be defective, with a sentence about it."""
    holdings = context.holdings
    may_count = {Standing.PROVEN, Standing.UNVERIFIED}
    for (first, second), found in sorted(holdings.relations.pairs.items()):
        a, b = holdings.places[first], holdings.places[second]
        if a.place.device.id == b.place.device.id or not {a.standing, b.standing} <= may_count:
            continue
        sentence = f"{a.address} and {b.address}: {found.apart} ({'; '.join(found.reasons)})."
        if found.attested:
            sentence = (
                f"{a.address} and {b.address}: the owner attests that they are apart (“{found.attested.statement}”)."
            )
        yield sentence, found
