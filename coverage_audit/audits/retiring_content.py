"""What is known of the content of copies when an estate is judged without what leaves.

What this retirement itself read shows more: two places that stay and disagree about one file cannot both be right.

A dataset whose original stays is known as it is now. Where the original leaves, no sample of a copy speaks for it any
more, for it was held against that original: a sample is drawn against the new one, and kept nowhere. What was found
to be spoilt stays so.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from coverage_audit.audits.casing import CaseOutcome
from coverage_audit.audits.content_known import Verifications
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.verifying import with_content
from coverage_audit.comparison.held_elsewhere import HeldElsewhere
from coverage_audit.estate.former import Lineage, lineage_of
from coverage_audit.estate.model import Address, DatasetId, Estate, VolumeKey
from coverage_audit.evidence.verified import Verification
from coverage_audit.judgement.wording import files
from coverage_audit.scenarios.retirement import Break


@dataclass(frozen=True, kw_only=True)
class WithoutOriginals:
    """What is known of datasets whose originals leave; `lineage` is that of the estate as it is."""

    known: Verifications
    lineage: Lineage
    _now: dict[tuple[DatasetId, Address], Verification] = field(default_factory=dict)

    def of(
        self, dataset: DatasetId, place: Address, lineage: Lineage, *, against: Address | None = None
    ) -> Verification:
        """Return what was found to be spoilt there, and what was read since. Raises LedgerError."""
        del lineage, against  # of the estate without it, whose places have no past of their own
        if (dataset, place) in self._now:
            return self._now[dataset, place]
        before = self.known.of(dataset, place, self.lineage)
        return Verification(spoilt=before.spoilt, more=before.more)

    def keep(self, dataset: DatasetId, place: Address, known: Verification, at: datetime, lineage: Lineage) -> None:
        """Keep it for as long as this is judged."""
        del at, lineage
        self._now[dataset, place] = known


def content_after(
    estate: Estate,
    remaining: Estate,
    before: Sequence[CaseOutcome],
    after: Sequence[CaseOutcome],
    parts: Parts,
    started: datetime,
) -> tuple[CaseOutcome, ...]:
    """Add to the cases of what remains what is known of content: as `before`, or read now. Raises LedgerError."""
    was = {one.case.dataset.id: one for one in before}
    moved = [one for one in after if one.case.dataset.original != was[one.case.dataset.id].case.dataset.original]
    book = WithoutOriginals(known=parts.ledger.verifications, lineage=lineage_of(estate))
    read = {one.case.dataset.id: one for one in with_content(remaining, moved, parts, started=started, book=book)}
    return tuple(read.get(one.case.dataset.id) or _as_before(one, was[one.case.dataset.id]) for one in after)


def _as_before(now: CaseOutcome, was: CaseOutcome) -> CaseOutcome:
    known = {copy.copy.address: copy.verified for copy in was.case.copies}
    copies = tuple(replace(copy, verified=known.get(copy.copy.address)) for copy in now.case.copies)
    original = replace(now.case.original, spoilt=was.case.original.spoilt, spoilt_files=was.case.original.spoilt_files)
    return replace(now, case=replace(now.case, copies=copies, original=original))


def disagreeing(held: HeldElsewhere, places: Sequence[Address]) -> tuple[Break, ...]:
    """Return what was read in a place that stays and is not what leaves, and another place, hold there.

    `places` are those of the staying trees, in their order. Only after `held.classes`.
    """
    found = dict[tuple[DatasetId, VolumeKey], Break]()
    for dataset, tree, count, path in held.differing():
        at = places[tree]
        largest = " is the largest" if count > 1 else ""
        found[dataset, at.volume] = Break(
            dataset=dataset,
            rule="content",
            message=(
                f"The content of {files(count)} on {at.volume} is another than on what leaves and elsewhere, though "
                f"place, size and time agree: {at}/{os.fsdecode(path)}{largest}."
            ),
            mend="Find out which is right, bring the other back from it, and audit again.",
            proven=False,
        )
    return tuple(found.values())
