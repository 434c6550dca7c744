"""How much a dataset is."""

from __future__ import annotations

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import Gap
from coverage_audit.scenarios.material import DatasetMaterial


def size_of(dataset: DatasetMaterial) -> Tally | None:
    """Return what the original held when it was last seen, without what is left out where a comparison says so."""
    compared = [copy.comparison.original for copy in dataset.context.copies if copy.comparison is not None]
    if compared:
        return max(compared, key=lambda tally: (tally.files, tally.bytes))
    evidence = dataset.context.original.evidence
    tree = evidence.as_of if isinstance(evidence.tree, Gap) else evidence.tree
    return Tally(files=tree.census.files, bytes=tree.census.bytes) if tree is not None else None
