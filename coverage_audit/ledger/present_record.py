"""What the ledger says of the present, in plain frozen values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Finding
from coverage_audit.ledger.past_record import NightOutcome


@dataclass(frozen=True, kw_only=True)
class OpenFinding:
    """A criterion that was not met, or could not be told, when it was last asked for; `since` is when that began."""

    finding: Finding
    dataset: DatasetId | None
    since: datetime


@dataclass(frozen=True, kw_only=True)
class NightCounts:
    """How many nights ended how, since the ledger was begun; `missed` were not even begun."""

    ended: Mapping[NightOutcome, int] = field(default_factory=dict)
    missed: int = 0
