"""What a drill is asked for: a dataset and its copy, looked up in the estate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from coverage_audit.audits.parts import Parts
from coverage_audit.errors import UsageError
from coverage_audit.estate.addresses import parse_address
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Copy, Dataset, DatasetId, Estate
from coverage_audit.evidence.drilling import LEAST_DRAWN
from coverage_audit.evidence.visible import visible

DEFAULT_FILES = LEAST_DRAWN


@dataclass(frozen=True, kw_only=True)
class DrillWish:
    """What is asked for: a dataset's copy (None: the one that waits longest), how many files or which, and where to."""

    dataset: str
    copy: str | None = None
    count: int = DEFAULT_FILES
    paths: tuple[bytes, ...] = ()
    scratch: Path | None = None


def dataset_of(estate: Estate, name: str) -> Dataset:
    """Return the dataset of a name. Raises UsageError."""
    try:
        return estate.dataset(DatasetId(name))
    except KeyError:
        known = ", ".join(dataset.id for dataset in estate.datasets)
        raise UsageError(f"there is no dataset '{visible(name)}' in the estate; it has: {known}") from None


def copy_of(dataset: Dataset, wanted: str) -> Copy:
    """Return the copy at an address. Raises UsageError."""
    try:
        address = parse_address(wanted)
    except ValueError as error:
        raise UsageError(f"--copy: {error}") from None
    for copy in dataset.copies:
        if copy.address == address:
            return copy
    known = ", ".join(str(copy.address) for copy in dataset.copies)
    raise UsageError(f"--copy: {dataset.id} has no copy at '{visible(wanted)}'; its copies are: {known}")


def copies_to_drill(estate: Estate, dataset: Dataset, wish: DrillWish, parts: Parts) -> Sequence[Copy]:
    """Return the copy asked for, or all that can be read, the one that waits longest for a drill first.

    Raises UsageError where the dataset has no such copy, or no file of it can be read back; LedgerError.
    """
    if wish.copy is not None:
        copy = copy_of(dataset, wish.copy)
        if copy.is_opaque:
            raise UsageError(
                f"--copy: of {copy.address} only recovery points are known: no file of it can be read back"
            )
        return (copy,)
    lineage = lineage_of(estate)
    last = {
        copy.address: parts.ledger.drills.newest(dataset.id, copy.address, lineage).newest
        for copy in dataset.copies
        if not copy.is_opaque
    }
    never = datetime.min.replace(tzinfo=UTC)
    able = [copy for copy in dataset.copies if copy.address in last]
    return sorted(able, key=lambda copy: found.at if (found := last[copy.address]) else never)
