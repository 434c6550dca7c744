"""What a volume is made of, in a line: its drives, what they hold together, what they stand, and their age."""

from __future__ import annotations

from collections import Counter
from datetime import date

from coverage_audit.estate.model import Volume
from coverage_audit.estate.units import format_size
from coverage_audit.judgement.wording import joined, so_many
from coverage_audit.reckoning.parity import array_of
from coverage_audit.reckoning.service_life import SERVICE_LIFE
from coverage_audit.reports.ages import life_ends
from coverage_audit.reports.loss_drive import size_in_both


def drives_said(volume: Volume, today: date) -> str:
    """Say it (empty: no drives are declared)."""
    sizes = [drive.size for drive in volume.drives]
    if not sizes:
        return ""
    kinds = joined(f"{count} of {format_size(size)}" for size, count in sorted(Counter(sizes).items()))
    return f"{so_many(len(sizes), 'drive')}: {kinds}; {_together(volume, sizes)}{_aged(volume, today)}"


def _together(volume: Volume, sizes: list[int]) -> str:
    try:
        found = array_of(sizes, volume.parity)
    except ValueError as error:
        return f"no such array can be ({error})"
    stands = {0: "no loss", 1: "the loss of 1"}.get(found.stands, f"the loss of {found.stands}")
    return f"{size_in_both(found.usable)} usable, stands {stands}"


def _aged(volume: Volume, today: date) -> str:
    over = sum(drive.in_service is not None and life_ends(drive.in_service) <= today for drive in volume.drives)
    return f"; {over} past {SERVICE_LIFE} years of service" if over else ""
