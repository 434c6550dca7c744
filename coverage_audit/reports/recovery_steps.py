"""Words of the recovery sheet: what stood there, what comes before anything else, and how one gets to a copy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Device, Estate, VolumeKey
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.domains import DomainKind
from coverage_audit.judgement.wording import joined
from coverage_audit.reports.loss_drive import size_in_both
from coverage_audit.reports.loss_words import named
from coverage_audit.scenarios.loss import DatasetLoss, Loss

_CLEAN: Final = "From a machine that is surely clean, change that password, and unplug or lock what it can still reach."


def if_it_is(loss: Loss) -> str:
    """Say what the sheet is for."""
    if loss.domain.kind is DomainKind.ACCOUNT:
        return f"If somebody erases all that {loss.said} can write to"
    return f"If {loss.said} is gone"


def what_stood(loss: Loss, estate: Estate) -> Iterator[str]:
    """Say what stood where: each device that is gone, with its site and its volumes; of an account what it reaches."""
    if loss.domain.kind is DomainKind.ACCOUNT:
        yield f"It reaches {joined(map(str, loss.volumes))}."
        if loss.survives:
            yield f"It cannot erase {joined(f'{other.name} ({other.why})' for other in loss.survives)}."
        return
    for gone in loss.devices:
        device = estate.device(gone)
        volumes = joined(_volume(volume.key, estate) for volume in device.volumes)
        yield f"{device.id} stood at {estate.site(device.site).name}, with {volumes}."
    for key in (key for key in loss.volumes if key.device not in loss.devices):
        yield f"{_volume(key, estate)} was in {key.device}, at {estate.site(estate.device(key.device).site).name}."
    if loss.also:
        yield f"With it goes {joined(f'{other.name} ({other.why})' for other in loss.also)}."


def _volume(key: VolumeKey, estate: Estate) -> str:
    volume = estate.volume(key)
    return f"{key} ({volume.medium}, {volume.path})"


def steps_before(loss: Loss, coming: Sequence[DatasetLoss]) -> Iterator[str]:
    """Say what is to be done before anything is brought back."""
    if loss.domain.kind is DomainKind.ACCOUNT:
        yield _CLEAN
    if loss.drive is not None:
        yield from loss.drive.steps
        alone = dict.fromkeys(str(one.dataset) for one in loss.drive.at_stake)
        if alone:
            yield f"Until the drive is made up, no copy elsewhere is proven of {joined(alone)}: copy these first."
    yield "Stop everything that copies from there by itself: an empty box must not be copied over a full one."
    yield "Change nothing at the places named below. Read from them; do not tidy, repair or move there first."
    sizes = [dataset.size for dataset in coming]
    needed = sum(size.bytes for size in sizes if size is not None)
    beside = " and more, for not every size is known" if None in sizes else ""
    if needed:
        yield f"Have a box or drive with room for {size_in_both(needed)}{beside}."
    yield "Keep what is broken, and erase nothing on it, until all is back. Unplug a box before you open it."


def key_kept_there(volume: str, elsewhere: Sequence[str], estate: Estate) -> str:
    """Say where else a key is kept that was kept at what is gone."""
    if not elsewhere:
        return f"{volume}: no other place of it is declared"
    return f"{volume}: also at {joined(named(elsewhere, estate))}"


def way_to(device: Device, estate: Estate) -> tuple[str, str]:
    """Return a device, and where it is and how one gets to it."""
    where = estate.site(device.site).name
    if isinstance(device.access, ShelfAccess):
        how = "on the shelf: fetch it and plug it in"
    elif isinstance(device.access, LocalAccess):
        how = "the machine that runs the auditor"
    else:
        user = f"{device.access.user}@" if device.access.user else ""
        port = f" port {device.access.port}" if device.access.port else ""
        how = f"SSH to {user}{device.access.host}{port}"
    fetch = f"; {format_duration(device.fetch_time)} to have it here" if device.fetch_time else ""
    return device.id, f"{where}, {how}{fetch}"
