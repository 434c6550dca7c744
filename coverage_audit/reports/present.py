"""An audit seen from the estate of today: what was renamed since bears its present name, what left it is left out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

from coverage_audit.estate.model import DatasetId, Device, Estate
from coverage_audit.judgement.conclusions import conclude_estate
from coverage_audit.judgement.verdict import JudgedDataset, JudgedEstate


@dataclass(frozen=True, kw_only=True)
class Present:
    """An audit of datasets that are all declared now; `left` were judged and are not, `new` are not judged yet."""

    judged: JudgedEstate
    left: tuple[DatasetId, ...]
    new: tuple[DatasetId, ...]


def as_declared_now(judged: JudgedEstate, estate: Estate) -> Present:
    """Hold an audit against the estate of today; where a dataset left it, conclude anew from the rest."""
    names = {former: one.id for one in estate.datasets for former in one.formerly}
    names |= {one.id: one.id for one in estate.datasets}
    kept = tuple(replace(one, id=names[one.id]) for one in judged.datasets if one.id in names)
    left = tuple(one.id for one in judged.datasets if one.id not in names)
    known = {one.id for one in kept}
    conclusion = judged.conclusion
    if left:
        conclusion = conclude_estate([one.conclusion for one in kept], judged.findings)
    return Present(
        judged=replace(judged, datasets=kept, conclusion=conclusion),
        left=left,
        new=tuple(one.id for one in estate.datasets if one.id not in known),
    )


def site_name(estate: Estate, device: Device) -> str:
    """Return the name of a device's site, its id where the site is not declared any more."""
    return next((site.name for site in estate.sites if site.id == device.site), device.site)


def max_ages(dataset: JudgedDataset, estate: Estate) -> tuple[timedelta, ...]:
    """Return how old each copy of a judged dataset may be, in the order of its copies."""
    demanded = estate.policy(estate.dataset(dataset.id).policy).max_age
    return tuple(copy.evidence.copy.max_age or demanded for copy in dataset.copies)
