"""The tables of unattended nights: what the daemon did, the weekly pages, the outbox of notices, waivers."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, Table

from coverage_audit.ledger.columns import Instant, Json, Words
from coverage_audit.ledger.metadata import METADATA, of_audit

NIGHTS = Table(  # what the daemon did each night
    "nights",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("night", Words, nullable=False, unique=True),  # the local date YYYY-MM-DD
    Column("started", Instant, nullable=False),
    Column("finished", Instant),
    Column("outcome", Words),  # audited, failed, busy
    Column("detail", Words),
    of_audit(nullable=True),
    Column("missed", Integer, nullable=False),  # nights before it that had no audit
    Column("missed_since", Words),
)

SUMMARIES = Table(
    "summaries",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("page_of", Words, nullable=False, unique=True),  # the local date YYYY-MM-DD
    Column("made", Instant, nullable=False),
    Column("file", Words, nullable=False),
    Column("sent", Instant),  # when it was put into the outbox for all who want it; empty: it was only made
)

OUTBOX = Table(  # what is to be told to an address, until its service took it
    "outbox",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("target", Words, nullable=False),
    Column("event", Words, nullable=False, unique=True),  # part of the Message-ID: the same over all tries
    Column("kind", Words, nullable=False),
    Column("created", Instant, nullable=False),
    Column("not_before", Instant, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("last_try", Instant),
    Column("last_error", Words),
    Column("accepted", Instant),
    Column("body", Json, nullable=False),
    Index("ix_outbox_accepted", "accepted", "not_before"),
)

WAIVERS = Table(
    "waivers",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("finding", Words, nullable=False),
    Column("who", Words, nullable=False),
    Column("why", Words, nullable=False),
    Column("given", Instant, nullable=False),
    Column("until", Instant, nullable=False),
    Column("body", Json, nullable=False),  # the finding as it was when it was waived
    Column("ended", Instant),
    Column("ended_why", Words),
    Index("ix_waivers_finding", "finding"),
)

READERS = Table(  # who said that the weekly mail of a date to an address was read
    "readers",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("target", Words, nullable=False),
    Column("page_of", Words, nullable=False),  # the local date YYYY-MM-DD
    Column("who", Words, nullable=False),
    Column("at", Instant, nullable=False),
)
