"""Recording what a shelf drive holds, outside any audit: its files in place, then its rows in one transaction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Engine

from coverage_audit.estate.model import VolumeKey
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.ledger.folder import StateFolder, speaking_of
from coverage_audit.ledger.keeping import place
from coverage_audit.ledger.pins import pin_seen
from coverage_audit.ledger.shelf import write_shelf


def record_shelf(
    engine: Engine,
    folder: StateFolder,
    trees: Sequence[ShelfTree],
    pinned: tuple[VolumeKey, tuple[PinnedFact, ...]],
    at: datetime,
) -> None:
    """Record the trees, whole or not at all; what the volume shows for the first time, or in addition, is pinned.

    Raises LedgerError; then nothing is recorded, and files already in place are swept at the next opening.
    """
    with speaking_of(folder.path):
        moved = place((tree.manifest.file for tree in trees), folder.manifests, folder.staging, at)
    with engine.begin() as connection:
        if pinned[1]:
            pin_seen(connection, *pinned, at)
        write_shelf(connection, trees, moved)
