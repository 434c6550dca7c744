"""The table of what each place lost and rewrote from audit to audit, and of what changed there at once."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, Table

from coverage_audit.ledger.columns import Instant, Json, PathBytes, Words
from coverage_audit.ledger.metadata import METADATA, of_audit

TURNOVERS = Table(
    "turnovers",
    METADATA,
    Column("id", Integer, primary_key=True),
    of_audit(),
    Column("dataset", Words, nullable=False),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("path", PathBytes, nullable=False),
    Column("at", Instant, nullable=False),  # when the listing that was compared started
    Column("against", Integer, ForeignKey("manifests.id")),  # the next audit compares with this; empty: with the last
    Column("rows", Words),  # the name in relations/ of the rows of a change that stands; empty: none does, or pruned
    Column("body", Json, nullable=False),
    Index("ix_turnovers_place", "dataset", "device", "volume", "path"),
)
