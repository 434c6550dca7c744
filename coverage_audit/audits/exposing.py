"""Expose: what of an original no copy with valid evidence holds."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coverage_audit.comparison.exposure import exposure
from coverage_audit.comparison.leaving_out import patterns_of
from coverage_audit.comparison.types import Workspace
from coverage_audit.errors import ComparisonError
from coverage_audit.estate.model import Dataset, Estate
from coverage_audit.evidence.difference import CopyComparison, Exposure
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.judgement.case import CopyEvidence, OriginalEvidence
from coverage_audit.judgement.independence import Apart, relation


def exposure_of(
    dataset: Dataset,
    original: OriginalEvidence,
    tree: Manifest,
    copies: Sequence[CopyEvidence],
    estate: Estate,
    work: Workspace,
) -> Exposure | None:
    """Intersect what the copies lack (None: the auditor's own disk failed, so that it is not known).

    A copy shown to be one with the original holds nothing that it would not lose.
    """
    relations = [
        found
        for copy in copies
        if (found := _relation(copy)) and relation(original.place, copy.place, estate).apart is not Apart.ONE
    ]
    try:
        return exposure(tree, relations, leave_out=patterns_of(estate.litter, dataset), work=work)
    except ComparisonError:
        return None


def _relation(copy: CopyEvidence) -> Path | None:
    comparison: CopyComparison | None = copy.comparison
    return comparison.relation if comparison else None
