"""Where the auditor's own files come back from: the best copy on another box, and the key that it needs."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Final

from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Estate
from coverage_audit.judgement.stakes import key_layers
from coverage_audit.judgement.verdict import JudgedCopy, JudgedEstate, Standing
from coverage_audit.judgement.wording import joined
from coverage_audit.reports.loss_words import named
from coverage_audit.reports.present import site_name
from coverage_audit.scenarios.leaving import Leaving, leaving_with

_BACK: Final = (Standing.PROVEN, Standing.STALE, Standing.INCOMPLETE)
"""Standings of a copy that is worth bringing back from, the best first; of others nothing is shown."""

_NEVER: Final = datetime(1, 1, 1, tzinfo=UTC)


def best_copy(dataset: str, estate: Estate, judged: JudgedEstate | None) -> JudgedCopy | None:
    """Return the best copy of a dataset that was shown and is still declared, on another machine than the auditor's."""
    shown = [copy for copy in _copies(dataset, judged) if copy.standing in _BACK and copy.recovery_point is not None]
    here = _here(estate)
    declared = {copy.address for one in estate.datasets if one.id == dataset for copy in one.copies}
    elsewhere = [copy for copy in shown if copy.address in declared and not here.holds(copy.address)]
    return max(
        elsewhere,
        key=lambda copy: (-_BACK.index(copy.standing), copy.recovery_point or _NEVER),
        default=None,
    )


def place_said(copy: JudgedCopy, estate: Estate) -> str:
    """Say where a copy is, as one types it there."""
    device, volume = copy.evidence.place.device, copy.evidence.place.volume
    return f"{device.id}, {volume.at(copy.address.path)} ({site_name(estate, device)})"


def key_said(copy: JudgedCopy, estate: Estate) -> str:
    """Say where the keys of an encrypted copy are kept beside the auditor's own machine (empty: it needs none)."""
    here = _here(estate)
    layers = key_layers(copy.evidence.copy, copy.evidence.place.volume)
    left = [[keeper for keeper in keepers if keeper not in here.devices] for keepers in layers]
    if not left:
        return ""
    if not all(left):
        return "encrypted: a key that it needs is not declared to be kept elsewhere"
    return f"encrypted: its key is kept at {joined(named([keeper for keepers in left for keeper in keepers], estate))}"


def _copies(dataset: str, judged: JudgedEstate | None) -> Iterator[JudgedCopy]:
    for one in judged.datasets if judged is not None else ():
        if one.id == dataset:
            yield from one.copies


def _here(estate: Estate) -> Leaving:
    """Return all that goes with the auditor's own machine: its guests, and what is stored on it, too."""
    machines = (device.id for device in estate.devices if isinstance(device.access, LocalAccess))
    return leaving_with(estate, machines, ())
