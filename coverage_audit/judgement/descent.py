"""What a copy was made of: a copy of a copy carries whatever damage that one has, and no listing may show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from coverage_audit.estate.model import Address, Copy
from coverage_audit.judgement.verdict import Ground, JudgedCopy, Standing


def sources_of(copy: Copy, copies: Sequence[Copy]) -> tuple[Address, ...]:
    """Return the copies that a copy was made of, the nearest first (empty: it is made of the original)."""
    known = {each.address: each.taken_from for each in copies}
    found: list[Address] = []
    source = copy.taken_from
    while source is not None and source not in found and source != copy.address:
        found.append(source)
        source = known.get(source)
    return tuple(found)


def with_descent(copies: Sequence[JudgedCopy]) -> tuple[JudgedCopy, ...]:
    """Trust no copy beyond the one that it is made of.

    Damage of the content comes with the copying and shows in no listing. So a copy is unverified while one that it is
    made of is damaged, or was not compared, unless digests of its own are compared with the original's.
    """
    named = {copy.address: copy for copy in copies}
    declared = [copy.evidence.copy for copy in copies]
    return tuple(_judged(copy, sources_of(copy.evidence.copy, declared), named) for copy in copies)


def chain(copy: Copy, copies: Sequence[Copy], original: Address) -> str:
    """Say by which ways a copy comes from the original."""
    return " → ".join(map(str, (original, *reversed(sources_of(copy, copies)), copy.address)))


def _judged(copy: JudgedCopy, sources: Sequence[Address], named: dict[Address, JudgedCopy]) -> JudgedCopy:
    if not sources:
        return copy
    remark = f"it is made of {sources[0]}, not of the original: what that one lacks or has damaged comes with it"
    copy = replace(copy, remarks=(*copy.remarks, remark))
    by_digest = copy.comparison is not None and copy.comparison.mode.digest is not None
    why = next((said for source in sources if (said := trouble_of(source, named.get(source)))), None)
    if why is None or by_digest or copy.standing is not Standing.PROVEN:
        return copy
    return replace(copy, standing=Standing.UNVERIFIED, ground=Ground.EVIDENCE, reason=why)


def trouble_of(address: Address, source: JudgedCopy | None) -> str | None:
    """Say why what is made of a copy is not trusted (None: nothing speaks against it)."""
    if source is None:
        return f"it is made of {address}, of which nothing is known: what is damaged there may lie here unseen"
    found = source.comparison
    if source.standing is Standing.DAMAGED or (found is not None and (found.own.files or found.content.files)):
        return f"it is made of {address}, which is damaged: what is damaged there may lie here unseen"
    if source.ground is Ground.IDENTITY:
        return f"it is made of {address}, whose volume is not the one pinned: what is damaged there may lie here unseen"
    if found is None and not source.evidence.copy.is_opaque:
        return f"it is made of {address}, which was not compared: what is damaged there may lie here unseen"
    return None
