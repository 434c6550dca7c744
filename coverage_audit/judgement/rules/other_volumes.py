"""Other volumes: a declared volume on which no dataset lies is another one than was pinned.

What it asks: of the volumes that hold neither an original nor a copy, that they are as they were when first seen.

Why: it breaks no criterion, but a drive that vanished or was swapped is worth knowing before it is needed.

How to mend: mount the volume, accept its new identity, or take it out of the estate.

The control: NIST SP 800-53 Rev. 5 CM-8 (component inventory).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.estate.model import VolumeKey
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import volume_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding

RULE = Rule(
    id="other-volumes",
    title="Volumes without a dataset",
    control=supports("NIST SP 800-53 Rev. 5 CM-8"),
    doc=__doc__ or "",
)


def check(context: EstateContext) -> Iterable[Finding]:
    """Observe each volume without a dataset whose identity is not the one pinned."""
    used = _used(context)
    for identity in context.identities:
        if identity.trusted or identity.volume in used:
            continue
        said = "; ".join([str(identity.state), *identity.differences])
        yield Finding(
            rule=RULE.id,
            subject=volume_subject(identity.volume),
            answer=Answer.OBSERVATION,
            measured=said,
            required="the volume that is pinned",
            message=f"{identity.volume}, on which no dataset lies: {said}.",
            mend="Mount the volume, accept its new identity, or take it out of the estate.",
            evidence=(
                EvidenceItem(
                    what=said, where=str(identity.volume), at=context.finished, how="held against what is pinned"
                ),
            ),
            control=RULE.control,
        )


def _used(context: EstateContext) -> set[VolumeKey]:
    return {address.volume for dataset in context.estate.datasets for address in dataset.places}
