"""What is kept of a place's turnover, as it goes into the ledger and comes out of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.turnover import MassChange, Shares


@dataclass(frozen=True, kw_only=True)
class TurnoverRecord:
    """What one audit leaves of one place: of a dataset's original, or of a mirror of it.

    `at` is when its listing of this audit started. `against` is the manifest's file with which the next audit compares
    (None: with the last one); `open`: this one failed to, so the next does whatever else there is. `shares` are this
    audit's for the history (None: they are none of it). `standing` is the change that stands, `rows` the file of what
    went or changed by it: staged now, or kept already.
    """

    dataset: DatasetId
    place: Address
    at: datetime
    against: Path | None = None
    open: bool = False
    shares: Shares | None = None
    standing: MassChange | None = None
    rows: Path | None = None


@dataclass(frozen=True, kw_only=True)
class KeptTurnover:
    """What the audit before left of a place; the fields are those of its record.

    `against` is None where there is none, or where it is gone or damaged; `rows` likewise. `accepted` is when a person
    accepted what the volume shows, after the change that stands was met. `history` are the shares of the last audits,
    the newest first.
    """

    against: Manifest | None = None
    open: bool = False
    standing: MassChange | None = None
    rows: Path | None = None
    accepted: datetime | None = None
    history: tuple[Shares, ...] = ()
