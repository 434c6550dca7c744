"""Kept keys: an encrypted copy can be opened when it is needed, which is when its original is gone.

What it asks: of each copy that is encrypted, or lies on an encrypted volume, that `key_kept` names the sites and
devices that keep its key; that no single failure which takes the original (its volume, its device, its site, what that
shares with others) takes all of them while it leaves the copy; and that not all of them are lost with what the key
opens. A loose drive that is encrypted as a whole keeps no key of its own. Without `key_kept` whether the copy can be
restored is unknown: it is unverified, and is not counted.

Why: a copy whose key lay on the machine that burnt is noise. Nobody notices before the day on which it is needed.

How to mend: keep the key at a second place, at another site than the original and apart from the copy, and declare it.

The control: NIST SP 800-53 Rev. 5 CP-9 d (protection of backup information).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.keys import lost_with
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.stakes import Stake, key_layers, stakes_of
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedCopy
from coverage_audit.judgement.wording import joined

RULE = Rule(
    id="kept-keys",
    title="Keys of encrypted copies",
    control=supports("NIST SP 800-53 Rev. 5 CP-9 d"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Say of each encrypted copy whether its key outlives its original."""
    if not any(key_layers(copy.evidence.copy, copy.evidence.place.volume) for copy in context.copies):
        return
    stakes = stakes_of(context)
    for copy, stake in zip(context.copies, stakes[ORIGINAL + 1 :], strict=True):
        layers = key_layers(copy.evidence.copy, copy.evidence.place.volume)
        if layers:
            yield _finding(context, copy, *_judged(context, layers, stake, stakes[ORIGINAL]), layers)


def _judged(
    context: DatasetContext, layers: tuple[tuple[str, ...], ...], copy: Stake, original: Stake
) -> tuple[Answer, str]:
    if not all(layers):
        why = "it is encrypted, and `key_kept` names nobody who keeps its key: whether it can be restored is unknown"
        return context.own_answer(Answer.UNVERIFIED), why
    lost = lost_with(copy, original, context.estate)
    if lost:
        return Answer.NONCONFORMITY, lost
    return Answer.CONFORMITY, f"its key is kept at {_kept(layers)}, and is left whatever takes {original.address}"


def _finding(
    context: DatasetContext, copy: JudgedCopy, answer: Answer, why: str, layers: tuple[tuple[str, ...], ...]
) -> Finding:
    said = f"declared: encrypted, its key kept at {_kept(layers) or 'no place'}"
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, copy.address),
        answer=answer,
        measured=f"key kept at {_kept(layers) or 'a place that is not declared'}",
        required="a key left when the original is gone",
        message=f"{copy.address}: {why}.",
        mend="Keep the key at a second place too, at another site than the original and apart from the copy, and "
        "declare it in `key_kept`.",
        evidence=(EvidenceItem(what=said, where="the estate file", at=None, how="reckoned from what is declared"),),
        control=RULE.control,
    )


def _kept(layers: tuple[tuple[str, ...], ...]) -> str:
    return joined(dict.fromkeys(name for layer in layers for name in layer))
