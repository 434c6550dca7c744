"""The tables of the ledger that hold what was proven of content: drills, and verifications."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Float, Index, Integer, Table

from coverage_audit.ledger.columns import Instant, Json, PathBytes, Words
from coverage_audit.ledger.metadata import METADATA

DRILLS = Table(  # files read back out of copies, or said by a person to have been
    "drills",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("dataset", Words, nullable=False),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("path", PathBytes, nullable=False),
    Column("at", Instant, nullable=False),
    Column("outcome", Words, nullable=False),
    Column("read_bytes", BigInteger, nullable=False),
    Column("seconds", Float, nullable=False),
    Column("body", Json, nullable=False),
    Index("ix_drills_place", "device", "volume", "path"),
)

VERIFICATIONS = Table(  # what is known of the content of each copy, and of each original: one row a place
    "verifications",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("dataset", Words, nullable=False),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("path", PathBytes, nullable=False),
    Column("at", Instant, nullable=False),
    Column("body", Json, nullable=False),
    Index("ix_verifications_place", "device", "volume", "path"),
)
