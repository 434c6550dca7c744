"""How fast originals grow, out of what earlier audits saw of their sizes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.estate.units import LARGEST
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import DatasetDay
from coverage_audit.reckoning.filling import Reading, filling
from coverage_audit.scenarios.link_load import Growth

_SPAN: Final = timedelta(days=90)
"""So far back growth is looked for: a pace of years ago says nothing of tomorrow (the project's own choice)."""


def growths_of(estate: Estate, ledger: Ledger, now: datetime) -> Mapping[DatasetId, Growth]:
    """Return the size and the growth of each dataset of which anything was seen. Raises LedgerError."""
    back = ledger.past.look_back(now - _SPAN, now, lineage_of(estate), daily=estate.time_zone)
    days: dict[DatasetId, list[DatasetDay]] = {}
    for day in back.datasets:
        days.setdefault(day.dataset, []).append(day)
    return {dataset: _growth(some) for dataset, some in days.items()}


def _growth(days: Sequence[DatasetDay]) -> Growth:
    readings = [Reading(at=day.at, used=day.bytes) for day in days if day.bytes is not None]
    if not readings:
        return Growth(size=None, a_day=None)
    found = filling(readings, LARGEST)
    return Growth(size=readings[-1].used, a_day=None if found is None else max(0, round(found.pace_high)))
