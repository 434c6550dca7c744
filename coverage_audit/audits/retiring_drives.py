"""The drives that a retirement was asked about: what their volume is while one of them is out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from coverage_audit.audits.retiring_wish import DriveAsked, RetireWish, drives_of
from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Estate
from coverage_audit.judgement.domains import device_domain, volume_domain
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.scenarios.drive_out import DriveOut
from coverage_audit.scenarios.driving import Replacing, drive_out, replaced
from coverage_audit.scenarios.leaving import Leaving
from coverage_audit.scenarios.material import material_of


def drives_asked(estate: Estate, wish: RetireWish) -> tuple[DriveAsked, ...]:
    """Return the drives that are asked about. Raises UsageError for one, or for a replacement, that cannot be."""
    asked = drives_of(estate, wish.targets)
    if wish.replacing is not None:
        volumes = {one.volume.key: one.volume for one in asked}
        if len(volumes) != 1:
            raise UsageError("--replace needs the drives of one volume, e.g. `coverage-audit retire DEVICE:VOLUME#1`")
        for volume in volumes.values():
            replaced(volume, wish.replacing)
    return asked


def drives_out(
    asked: Sequence[DriveAsked],
    before: JudgedEstate,
    leaving: Leaving,
    estate: Estate,
    *,
    at: datetime,
    replacing: Replacing | None,
) -> tuple[DriveOut, ...]:
    """Return each one's volume while it is out. What leaves with it is no place that counts meanwhile."""
    if not asked:
        return ()
    material = material_of(estate, before, at=at)
    gone_too = frozenset((*map(device_domain, leaving.devices), *map(volume_domain, leaving.volumes)))
    return tuple(drive_out(one.volume, one.number, material, replacing, gone_too) for one in asked)
