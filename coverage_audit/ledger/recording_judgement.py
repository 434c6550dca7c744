"""The rows of what an audit concluded: datasets and copies with the figures that later trends are made of."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, insert

from coverage_audit.evidence.facts import Gap, IdentityCheck
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.judgement.verdict import JudgedCopy, JudgedDataset, JudgedEstate
from coverage_audit.ledger.tables import GAPS, JUDGED_COPIES, JUDGED_DATASETS


def write_judgement(connection: Connection, audit: int, judged: JudgedEstate) -> None:
    """Write the conclusions of an audit, and its gaps."""
    datasets = [_dataset(audit, dataset) for dataset in judged.datasets]
    copies = [_copy(audit, dataset, copy) for dataset in judged.datasets for copy in dataset.copies]
    gaps = [
        {"audit": audit, "subject": gap.subject, "kind": gap.kind.value, "detail": gap.detail, "at": gap.at}
        for gap in judged.gaps
    ]
    for table, rows in ((JUDGED_DATASETS, datasets), (JUDGED_COPIES, copies), (GAPS, gaps)):
        if rows:
            connection.execute(insert(table), rows)


def _dataset(audit: int, dataset: JudgedDataset) -> dict[str, Any]:
    tree = dataset.original.evidence.tree
    seen = None if isinstance(tree, Gap) else tree
    exposure = dataset.exposure
    return {
        "audit": audit,
        "dataset": dataset.id,
        "policy": dataset.policy,
        "conclusion": dataset.conclusion.value,
        "waived": dataset.waived,
        "original_standing": dataset.original.standing.value,
        "original_at": seen and seen.origin.started,
        "original_files": seen and seen.census.files,
        "original_bytes": seen and seen.census.bytes,
        "original_whole": None if seen is None else _is_of_all(dataset),
        "exposed_files": exposure and exposure.files,
        "exposed_bytes": exposure and exposure.bytes,
        "exposed_since": exposure and exposure.since,
    }


def _is_of_all(dataset: JudgedDataset) -> bool:
    """Whether what was seen of an original is all of it, on the volume that is pinned."""
    evidence = dataset.original.evidence
    identity = evidence.place.identity
    trusted = isinstance(identity, IdentityCheck) and identity.trusted
    return trusted and isinstance(evidence.tree, CompleteManifest)


def _copy(audit: int, dataset: JudgedDataset, copy: JudgedCopy) -> dict[str, Any]:
    comparison = copy.comparison
    return {
        "audit": audit,
        "dataset": dataset.id,
        "address": str(copy.address),
        "standing": copy.standing.value,
        "proof": copy.proof.word,
        "recovery_point": copy.recovery_point,
        "reason": copy.reason,
        "missing_files": comparison and comparison.missing.files,
        "missing_bytes": comparison and comparison.missing.bytes,
        "changed_files": comparison and comparison.changed.files,
        "changed_bytes": comparison and comparison.changed.bytes,
    }
