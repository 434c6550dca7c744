"""The tables of the ledger. The schema grows only by migrations (`migrations/versions`)."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Table,
    UniqueConstraint,
)

from coverage_audit.ledger.columns import Instant, Json, PathBytes, Words
from coverage_audit.ledger.metadata import METADATA, of_audit

STATE = Table(
    "state",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("seed_digest", Words, nullable=False),  # of the state folder to which this ledger belongs
)

ESTATE_TEXTS = Table(
    "estate_texts", METADATA, Column("digest", Words, primary_key=True), Column("text", Words, nullable=False)
)

AUDITS = Table(
    "audits",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("started", Instant, nullable=False),
    Column("finished", Instant, nullable=False),
    Column("estate", Words, nullable=False),
    Column("estate_text", Words, ForeignKey("estate_texts.digest"), nullable=False),
    Column("time_zone", Words, nullable=False),
    Column("conclusion", Words, nullable=False),
    Column("rehearsal", Boolean, nullable=False),
    Column("whole", Boolean, nullable=False),
    Column("waived", Integer, nullable=False),
)

JUDGED_DATASETS = Table(
    "judged_datasets",
    METADATA,
    of_audit(),
    Column("dataset", Words, nullable=False),
    Column("policy", Words, nullable=False),
    Column("conclusion", Words, nullable=False),
    Column("waived", Integer, nullable=False),
    Column("original_standing", Words, nullable=False),
    Column("original_at", Instant),  # when the tree was seen in this audit, with its figures
    Column("original_files", BigInteger),
    Column("original_bytes", BigInteger),
    Column("original_whole", Boolean),  # whether the figures are of all of it; empty: an earlier version judged it
    Column("exposed_files", BigInteger),
    Column("exposed_bytes", BigInteger),
    Column("exposed_since", Instant),
    UniqueConstraint("audit", "dataset"),
)

JUDGED_COPIES = Table(
    "judged_copies",
    METADATA,
    of_audit(),
    Column("dataset", Words, nullable=False),
    Column("address", PathBytes, nullable=False),
    Column("standing", Words, nullable=False),
    Column("proof", Words, nullable=False),
    Column("recovery_point", Instant),
    Column("reason", Words, nullable=False),
    Column("missing_files", BigInteger),
    Column("missing_bytes", BigInteger),
    Column("changed_files", BigInteger),
    Column("changed_bytes", BigInteger),
    Index("ix_judged_copies_audit", "audit"),
)

JUDGED_AUDITS = Table(  # the newest whole audit as it was judged, for pages that are made without an audit
    "judged_audits",
    METADATA,
    Column("audit", Integer, ForeignKey("audits.id"), primary_key=True),
    Column("shape", Words, nullable=False),  # of the types that it is made of: another one is not read back
    Column("body", LargeBinary),
    Column("lacking", Words),  # why there is no body
)

FINDINGS = Table(  # each finding as it was last answered; its past is in the transitions
    "findings",
    METADATA,
    Column("finding", Words, primary_key=True),
    Column("dataset", Words),
    Column("answer", Words, nullable=False),
    Column("since", Instant),  # when it began; empty while it is not open
    Column("current", Boolean, nullable=False),
    Column("conclusion", Words, nullable=False),
    of_audit(),
    Column("body", Json, nullable=False),
)

TRANSITIONS = Table(
    "transitions",
    METADATA,
    Column("id", Integer, primary_key=True),
    of_audit(),
    Column("finding", Words, nullable=False),
    Column("dataset", Words),
    Column("kind", Words, nullable=False),
    Column("answer", Words),
    Column("since", Instant, nullable=False),
    Column("body", Json, nullable=False),
    Index("ix_transitions_finding", "finding"),
    Index("ix_transitions_audit", "audit"),
)

NOTICE_TARGETS = Table(
    "notice_targets",
    METADATA,
    Column("name", Words, primary_key=True),
    Column("since", Instant, nullable=False),  # what ended before it was known is no news to it
)

DELIVERIES = Table(
    "deliveries",
    METADATA,
    Column("transition", Integer, ForeignKey("transitions.id"), primary_key=True),
    Column("target", Words, primary_key=True),
    Column("at", Instant, nullable=False),
)

GAPS = Table(
    "gaps",
    METADATA,
    of_audit(),
    Column("subject", Words, nullable=False),
    Column("kind", Words, nullable=False),
    Column("detail", Words, nullable=False),
    Column("at", Instant, nullable=False),
    Index("ix_gaps_audit", "audit"),
)

DEVICE_FACTS = Table(
    "device_facts",
    METADATA,
    of_audit(),
    Column("device", Words, nullable=False),
    Column("at", Instant, nullable=False),
    Column("body", Json, nullable=False),
    UniqueConstraint("device", "audit"),
)

VOLUME_FACTS = Table(
    "volume_facts",
    METADATA,
    of_audit(),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("at", Instant, nullable=False),
    Column("capacity", BigInteger),
    Column("free", BigInteger),
    Column("trusted", Boolean),  # whether it was the volume pinned; empty: an earlier version recorded it
    Column("body", Json, nullable=False),
    UniqueConstraint("device", "volume", "audit"),
    Index("ix_volume_facts_audit", "audit"),
)

POINTS = Table(  # the recovery points of each dated copy as they were last seen, and what is remembered of them
    "points",
    METADATA,
    Column("device", Words, primary_key=True),
    Column("volume", Words, primary_key=True),
    Column("path", PathBytes, primary_key=True),
    of_audit(),
    Column("at", Instant, nullable=False),
    Column("body", Json, nullable=False),
)

PINS = Table(
    "pins",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("facts", Json, nullable=False),
    Column("pinned", Instant, nullable=False),
    Column("who", Words, nullable=False),
    Column("replaced", Instant),
    Index("ix_pins_device", "device", "volume"),
)

MANIFESTS = Table(  # a row outlives its file: the figures are history
    "manifests",
    METADATA,
    Column("id", Integer, primary_key=True),
    of_audit(nullable=True),  # empty: recorded outside any audit (a shelf drive's)
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("path", PathBytes, nullable=False),  # as declared
    Column("own_path", PathBytes, nullable=False),  # with the recovery point's name filled in
    Column("started", Instant, nullable=False),
    Column("complete", Boolean, nullable=False),
    Column("trusted", Boolean, nullable=False),
    Column("files", BigInteger, nullable=False),
    Column("bytes", BigInteger, nullable=False),
    Column("file", Words, unique=True),  # its name in manifests/; empty once it was pruned
    Index("ix_manifests_place", "device", "volume", "path"),
)

COMPARISONS = Table(
    "comparisons",
    METADATA,
    Column("id", Integer, primary_key=True),
    of_audit(),
    Column("dataset", Words, nullable=False),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("path", PathBytes, nullable=False),
    Column("original", Integer, ForeignKey("manifests.id"), nullable=False),
    Column("copy", Integer, ForeignKey("manifests.id")),
    Column("relation", Words),  # its name in relations/; empty once it was pruned
    Column("first_at", Instant, nullable=False),
    Column("last_progress", Instant),
    Column("gone_unheld", BigInteger, nullable=False),
    Column("pending_since", Instant),
    Column("left_out_files", BigInteger),
    Column("left_out_bytes", BigInteger),
    Column("left_out_by", Json),  # by pattern; empty in what an earlier version compared
    Index("ix_comparisons_pair", "dataset", "device", "volume", "path"),
)

SHELF_RECORDS = Table(  # manifests of drives that are not attached when they are judged
    "shelf_records",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("path", PathBytes, nullable=False),
    Column("manifest", Integer, ForeignKey("manifests.id"), nullable=False),
    Column("at", Instant, nullable=False),
    Column("host", Words),  # the box at which it was plugged in; empty: the auditor's own
    Column("facts", Json, nullable=False),
    Index("ix_shelf_records_place", "device", "volume", "path"),
)

ATTACHMENTS = Table(  # shelf drives seen plugged in: since when without a break, and when last
    "attachments",
    METADATA,
    Column("device", Words, primary_key=True),
    Column("volume", Words, primary_key=True),
    Column("host", Words, nullable=False),
    Column("since", Instant, nullable=False),
    Column("last", Instant, nullable=False),
)

SURVEYS = Table(
    "surveys",
    METADATA,
    Column("id", Integer, primary_key=True),
    of_audit(nullable=True),
    Column("device", Words, nullable=False),
    Column("volume", Words, nullable=False),
    Column("at", Instant, nullable=False),
    Column("body", Json, nullable=False),
    Index("ix_surveys_volume", "device", "volume"),
)

ESTATE_EVENTS = Table(  # what came, went, was renamed, moved or swapped
    "estate_events",
    METADATA,
    Column("id", Integer, primary_key=True),
    of_audit(nullable=True),
    Column("at", Instant, nullable=False),
    Column("kind", Words, nullable=False),
    Column("subject", Words, nullable=False),
    Column("body", Json, nullable=False),
    Index("ix_estate_events_at", "at"),
)
