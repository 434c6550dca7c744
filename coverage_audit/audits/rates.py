"""How fast the volumes of some datasets were seen to give back what they hold, out of the ledger's drills."""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.audits.rooms import volumes_of
from coverage_audit.estate.model import Dataset, Estate
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.ledger.ledger import Ledger


def rates_of(estate: Estate, datasets: Iterable[Dataset], ledger: Ledger) -> tuple[MeasuredRate, ...]:
    """Return the rate of each volume of which a drill has measured one. Raises LedgerError."""
    volumes = dict.fromkeys(volume for dataset in datasets for volume in volumes_of(dataset))
    found = ((key, ledger.drills.measured(key, estate.device(key.device).formerly)) for key in volumes)
    return tuple(MeasuredRate(volume=key, rate=int(rate)) for key, rate in found if rate is not None and rate >= 1)
