"""Drives on a shelf: how to record one, by when, and whether one that hangs on a box still is on the shelf at all."""

from __future__ import annotations

from datetime import datetime

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address, Estate, SiteId
from coverage_audit.evidence.shelf import Attached
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.wording import when


def how_to_record(address: Address) -> str:
    """Return the command that records a place of a shelf drive; a dated copy's whole volume is recorded."""
    return f"coverage-audit manifest PATH --for {address.volume if address.has_point else address}"


def stays_attached(place: PlaceEvidence, estate: Estate) -> Attached | None:
    """Return since when and where a shelf drive is plugged in, if that is longer than the grace (None: it is not).

    Such a drive is one of its host's, whatever is declared: what takes the host, or its site, takes the drive too.
    In a rehearsal places are as declared.
    """
    seen = place.attached
    if seen is None or estate.rehearsal or not isinstance(place.device.access, ShelfAccess):
        return None
    return seen if seen.last - seen.since > estate.limits.attached_grace else None


def site_of(place: PlaceEvidence, estate: Estate) -> SiteId:
    """Return the site at which a place is: the declared one, or its host's where a drive stays attached."""
    seen = stays_attached(place, estate)
    if seen is not None:
        for device in estate.devices:
            if device.id == seen.host:
                return device.site
    return place.device.site


def attached_in_words(seen: Attached, estate: Estate) -> str:
    """Say where a drive is plugged in, and since when."""
    return f"{seen.volume} has been attached to {seen.host} since {said_when(seen.since, estate)}"


def said_when(instant: datetime, estate: Estate) -> str:
    """Say an instant in the estate's zone."""
    return when(instant, estate.time_zone)
