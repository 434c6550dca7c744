"""What is lost with each failure, all of them the worst first, and which of them together lose a dataset."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Final

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.bringing_back import estimate
from coverage_audit.judgement.domains import Domain, DomainKind
from coverage_audit.scenarios.cutting import cuts_of
from coverage_audit.scenarios.drive_out import DriveOut
from coverage_audit.scenarios.driving import Replacing, drive_out
from coverage_audit.scenarios.extent import Extent, extent_of, volume_of, worth_telling
from coverage_audit.scenarios.falling import dataset_loss
from coverage_audit.scenarios.loss import AlsoFalls, DatasetLoss, Fate, KeyAt, Loss, LossTable, Restore
from coverage_audit.scenarios.material import Material

_FATES: Final = tuple(Fate)

OF_ALL: Final = (
    "What is gone is gone whole, at once, and nothing was done since the audit that this rests on.",
    "What changed after that audit counts as lost: nothing was seen of it.",
    "A place counts as left only where evidence shows what it holds; one that is unverified may hold it, no more.",
)
OF_BRINGING_BACK: Final = (
    "A box like the one that is gone stands ready in its place; to get one is not in any time.",
    "Each dataset comes back from its best copy alone, one after the other.",
)
OF_ACCOUNTS: Final = (
    "Whoever holds the account erases all it reaches; what is offline, or shown to be immutable, is left."
)


def loss_table(material: Material) -> LossTable:
    """Return every failure that is worth telling, the worst first, and the cut sets of every dataset."""
    losses = [loss_of(domain, material) for domain in worth_telling(material.estate)]
    return _table(material, sorted(losses, key=_badness, reverse=True), cuts=True)


def loss_alone(domain: Domain, material: Material, replacing: Replacing | None = None) -> LossTable:
    """Return one failure as a table of its own, with no cut sets. Raises UsageError for drives that are not there."""
    return _table(material, [loss_of(domain, material, replacing)], cuts=False)


def loss_of(domain: Domain, material: Material, replacing: Replacing | None = None) -> Loss:
    """Return what is lost with one failure."""
    failed = frozenset({domain})
    extent = extent_of(domain, material.estate)
    touched = [found for dataset in material.datasets if (found := dataset_loss(dataset, failed)) is not None]
    datasets = sorted((_with_restore(one, material) for one in touched), key=_rank)
    coming = sorted((one for one in datasets if one.restore is not None), key=_urgency)
    drive = _drive(domain, material, replacing)
    return Loss(
        domain=domain,
        said=extent.said,
        devices=extent.devices,
        volumes=extent.volumes,
        also=extent.also,
        survives=tuple(_survives(domain, material)),
        datasets=tuple(datasets),
        untouched=tuple(_untouched(material, datasets)),
        keys=tuple(_keys(extent, domain, material)),
        order=tuple(one.dataset for one in coming),
        back=_back(coming),
        not_reckoned=tuple(one.dataset for one in coming if one.restore is not None and one.restore.time is None),
        drive=drive,
        assumptions=tuple(_assumptions(domain, coming)),
    )


def _table(material: Material, losses: Sequence[Loss], *, cuts: bool) -> LossTable:
    return LossTable(
        estate=material.estate.name,
        as_of=material.judged.started,
        at=material.at,
        rehearsal=material.estate.rehearsal,
        losses=tuple(losses),
        cuts=tuple(cuts_of(dataset) for dataset in material.datasets) if cuts else (),
        unjudged=material.unjudged,
        assumptions=OF_ALL,
    )


def _badness(loss: Loss) -> tuple[tuple[int, int], ...]:
    """Rank by how many datasets have each fate, the worst fate first, and how many bytes they are; then by reach."""
    by_fate = []
    for fate in _FATES:
        found = loss.of(fate)
        by_fate.append((len(found), sum(one.size.bytes for one in found if one.size is not None)))
    below = sum(below.is_new for dataset in loss.datasets for below in dataset.below)
    return (*by_fate, (below, loss.domain.breadth))


def _rank(loss: DatasetLoss) -> tuple[int, int, str]:
    return _FATES.index(loss.fate), -(loss.size.bytes if loss.size is not None else 0), str(loss.dataset)


def _with_restore(loss: DatasetLoss, material: Material) -> DatasetLoss:
    """Say how long a dataset takes to come back, where its original is gone and something is shown to hold it."""
    if not loss.original_gone or loss.best is None or loss.size is None:
        return loss
    lacking = loss.not_held.bytes if loss.not_held is not None else 0
    size = max(0, loss.size.bytes - lacking)
    to = material.estate.dataset(loss.dataset).original
    found = estimate(loss.best.address, to, size, material.estate, material.rates)
    return replace(loss, restore=Restore(source=loss.best.address, bytes=size, time=found.time, shown=found.shown))


def _urgency(loss: DatasetLoss) -> tuple[timedelta, int, str]:
    """Bring back first what is to be back soonest, then what is small."""
    return loss.restore_within or timedelta.max, loss.restore.bytes if loss.restore else 0, str(loss.dataset)


def _back(coming: Iterable[DatasetLoss]) -> timedelta | None:
    """Add up how long all of it takes: one transfer after the other, behind the longest time to fetch something."""
    times = [one.restore.time for one in coming if one.restore is not None and one.restore.time is not None]
    if not times:
        return None
    return sum((time.time - time.fetching for time in times), max(time.fetching for time in times))


def _survives(domain: Domain, material: Material) -> Iterable[AlsoFalls]:
    """Yield each volume that an admin account reaches and is shown not to be able to erase."""
    found = {
        stake.address.volume: stake.falls.kept_from[domain]
        for dataset in material.datasets
        for stake in dataset.stakes
        if domain in stake.falls.kept_from
    }
    yield from (AlsoFalls(name=str(volume), why=why) for volume, why in found.items())


def _untouched(material: Material, losses: Iterable[DatasetLoss]) -> Iterable[DatasetId]:
    touched = {loss.dataset for loss in losses}
    yield from (dataset.judged.id for dataset in material.datasets if dataset.judged.id not in touched)


def _keys(extent: Extent, domain: Domain, material: Material) -> Iterable[KeyAt]:
    """Yield the encrypted volumes that stay and whose key is kept at what is gone."""
    gone = {str(device) for device in extent.devices}
    if domain.kind is DomainKind.SITE:
        gone.add(domain.name.partition("=")[2])
    for device in material.estate.devices:
        for volume in device.volumes:
            if volume.encrypted and volume.key not in extent.volumes and gone & set(volume.key_kept):
                yield KeyAt(volume=volume.key, elsewhere=tuple(name for name in volume.key_kept if name not in gone))


def _drive(domain: Domain, material: Material, replacing: Replacing | None) -> DriveOut | None:
    volume = volume_of(domain, material.estate)
    if volume is None or not volume.drives or not (domain.kind is DomainKind.DRIVE or replacing is not None):
        return None
    if domain.kind is DomainKind.DRIVE:
        return drive_out(volume, int(domain.name.rpartition("#")[2]), material, replacing)
    outgoing = (
        number for number, drive in enumerate(volume.drives, start=1) if replacing and drive.size == replacing.old
    )
    return drive_out(volume, next(outgoing, 1), material, replacing)


def _assumptions(domain: Domain, coming: Sequence[DatasetLoss]) -> Iterable[str]:
    if domain.kind is DomainKind.ACCOUNT:
        yield OF_ACCOUNTS
    if coming:
        yield from OF_BRINGING_BACK
    times = [one.restore.time for one in coming if one.restore is not None and one.restore.time is not None]
    yield from dict.fromkeys(said for time in times for said in time.assumptions)
