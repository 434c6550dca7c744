"""The standing of an original: whether it can be counted, and whether copies can be judged against what was seen."""

from __future__ import annotations

from datetime import datetime

from coverage_audit.estate.model import Proof
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap, IdentityCheck
from coverage_audit.evidence.manifest import Census, Manifest, PartialManifest
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.case import OriginalEvidence
from coverage_audit.judgement.verdict import JudgedOriginal, Standing
from coverage_audit.judgement.wording import NAMES_SHOWN, amount, files, joined, shortened

SHRUNK_TO = 0.1
"""An original that kept less than this share of its files or bytes since it was last proven has shrunk to nothing.

That holds until the owner accepts anew what its volume shows.
"""


def judge_original(evidence: OriginalEvidence, *, started: datetime) -> JudgedOriginal:
    """Judge the original: proven only where it was seen whole, now, on the pinned volume, and did not shrink away.

    One of whose files the content was seen to have changed by itself is damaged.
    """
    reason = why_not_counted(evidence, started=started)
    seen = isinstance(evidence.tree, Manifest)
    if reason:
        proof = Proof.LISTED if seen and not why_not_judged_against(evidence) else Proof.DECLARED
        return JudgedOriginal(standing=Standing.UNVERIFIED, reason=reason, evidence=evidence, proof=proof)
    if evidence.spoilt_files:
        changed = f"the content of {files(evidence.spoilt_files)} changed, and nothing says that they were written to"
        return JudgedOriginal(standing=Standing.DAMAGED, reason=changed, evidence=evidence, proof=Proof.LISTED)
    return JudgedOriginal(
        standing=Standing.PROVEN,
        reason="seen whole in this audit, on the volume that is pinned",
        evidence=evidence,
        proof=Proof.LISTED,
    )


def why_not_counted(evidence: OriginalEvidence, *, started: datetime) -> str | None:
    """Say why an original is not proven (None: it is)."""
    trouble = _not_trusted(evidence) if isinstance(evidence.place.identity, IdentityCheck) else None
    trouble = trouble or why_not_judged_against(evidence)
    if trouble:
        return trouble
    if isinstance(evidence.tree, Gap):
        return f"the original was not seen: {evidence.tree.kind}{_detail(evidence.tree)}"
    if evidence.tree.origin.started < started:
        return "the original was not seen in this audit"
    return why_not_whole(evidence)


def why_not_judged_against(evidence: OriginalEvidence) -> str | None:
    """Say why what this audit saw of the original says nothing about its copies (None: it does).

    Where it saw nothing the copies are judged against its last complete manifest, and that stands.
    """
    if isinstance(evidence.tree, Gap):
        return None
    return _not_trusted(evidence) or _shrunk(evidence.tree.census, evidence.before)


def why_not_whole(evidence: OriginalEvidence) -> str | None:
    """Say why an original is not shown to be whole (None: it was read whole and did not shrink away)."""
    tree = evidence.tree
    if isinstance(tree, Gap):
        return f"not seen: {tree.kind}{_detail(tree)}"
    shrunk = _shrunk(tree.census, evidence.before)
    if shrunk or not isinstance(tree, PartialManifest):
        return shrunk
    return part_not_read(tree)


def part_not_read(tree: Manifest | Gap) -> str:
    """Say that part of the original could not be read, and which where that is known."""
    if not isinstance(tree, PartialManifest):
        return "part of the original could not be read"
    named = [f"“{visible(blind.path) or '.'}” ({visible(blind.why)})" for blind in tree.blind]
    return f"part of the original could not be read, {joined(shortened(named, NAMES_SHOWN))}"


def _not_trusted(evidence: OriginalEvidence) -> str | None:
    identity = evidence.place.identity
    if isinstance(identity, Gap):
        return f"whether the original's volume is the one pinned was not seen: {identity.kind}{_detail(identity)}"
    if not identity.trusted:
        return f"the original's volume is not the one pinned: {'; '.join(identity.differences)}"
    return None


def _shrunk(now: Census, before: Tally | None) -> str | None:
    if now.files == 0:
        return "the original shows no file at all: there is nothing that a copy could be proven to hold"
    if before is None:
        return None
    if now.files < SHRUNK_TO * before.files or now.bytes < SHRUNK_TO * before.bytes:
        then, left = amount(before), amount(Tally(files=now.files, bytes=now.bytes))
        return f"the original shrank to nearly nothing: {then} when it was last proven, {left} now"
    return None


def _detail(gap: Gap) -> str:
    return f" ({visible(gap.detail)})" if gap.detail else ""
