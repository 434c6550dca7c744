"""A volume while a drive is out: what it stands, what its rebuild is like, and what it holds that nothing else does."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Final

from coverage_audit.errors import UsageError
from coverage_audit.estate.model import Medium, Volume
from coverage_audit.estate.units import format_size
from coverage_audit.judgement.arrays import array_of_volume
from coverage_audit.judgement.domains import Domain, volume_domain
from coverage_audit.judgement.holds import Holds
from coverage_audit.reckoning.parity import Array, array_of
from coverage_audit.reckoning.parity import replace as replaced_by
from coverage_audit.reckoning.rebuilding import RebuildRisk, rebuild_risk
from coverage_audit.reckoning.restoring import limit_of_medium
from coverage_audit.reckoning.service_life import SERVICE_LIFE
from coverage_audit.scenarios.drive_out import ArrayState, AtStake, DriveAge, DriveOut
from coverage_audit.scenarios.material import DatasetMaterial, Material
from coverage_audit.scenarios.size import size_of

_YEAR: Final = 365.25
_OF_ARRAYS: Final = (
    "What the filesystem and the arrangement of the drives take of it is not reckoned: a volume shows a little less."
)
_OF_FEWER: Final = (
    "Without it: as if the array was made anew of the drives that are left. Until then it keeps its size."
)
_OF_AGE: Final = f"A drive is reckoned to serve for {SERVICE_LIFE} years (common practice, no published source)."


@dataclass(frozen=True, kw_only=True)
class Replacing:
    """Drives that are to give way to others: sizes in bytes."""

    old: int
    new: int
    count: int


def drive_out(
    volume: Volume,
    number: int,
    material: Material,
    replacing: Replacing | None = None,
    gone_too: frozenset[Domain] = frozenset(),
) -> DriveOut:
    """Return what a volume is while its drive `number` (from 1) is out, and no place counts that falls by `gone_too`.

    Raises UsageError for a replacement that cannot be.
    """
    sizes = tuple(drive.size for drive in volume.drives)
    state = _as_it_is(volume, material)
    after, steps = replaced(volume, replacing) if replacing is not None else (None, [])
    risk = None if state.wrong else _risk(sizes, volume, sizes[number - 1])
    return DriveOut(
        volume=volume.key,
        number=number,
        array=state,
        without=_state(sizes[: number - 1] + sizes[number:], volume),
        replaced=after,
        risk=risk,
        ages=tuple(_ages(volume, material.at.date())),
        at_stake=tuple(stake for dataset in material.datasets for stake in _at_stake(dataset, volume, gone_too)),
        steps=(*steps, *_steps(state)),
        assumptions=(_OF_ARRAYS, _OF_FEWER, _OF_AGE),
    )


def _as_it_is(volume: Volume, material: Material) -> ArrayState:
    """Return the array as declared, held against what the volume showed of its size."""
    seen = (
        holding.place.volume_facts
        for dataset in material.datasets
        for holding in dataset.context.holdings.places
        if holding.place.volume.key == volume.key
    )
    return _state(
        tuple(drive.size for drive in volume.drives), volume, lambda: array_of_volume(volume, next(seen, None))
    )


def _state(sizes: tuple[int, ...], volume: Volume, reckoned: Callable[[], Array] | None = None) -> ArrayState:
    parity = str(volume.parity) if volume.parity is not None else ""
    try:
        found = reckoned() if reckoned is not None else array_of(sizes, volume.parity)
    except ValueError as error:
        return ArrayState(drives=sizes, parity=parity, usable=0, unused=0, stands=0, wrong=str(error))
    return _of_array(found, sizes, parity)


def _of_array(found: Array, sizes: tuple[int, ...], parity: str) -> ArrayState:
    return ArrayState(drives=sizes, parity=parity, usable=found.usable, unused=found.unused, stands=found.stands)


def replaced(volume: Volume, replacing: Replacing) -> tuple[ArrayState, list[str]]:
    """Return a volume's array after a replacement, and what to mind with it. Raises UsageError where it cannot be."""
    sizes = [drive.size for drive in volume.drives]
    try:
        found = replaced_by(sizes, volume.parity, old=replacing.old, new=replacing.new, count=replacing.count)
    except ValueError as error:
        raise UsageError(f"{volume.key}: {error}") from error
    after = _of_array(found.after, found.drives, str(volume.parity) if volume.parity is not None else "")
    steps = []
    if found.parity_first:
        steps.append(f"Replace the parity drives first: none may be smaller than {format_size(replacing.new)}.")
    if after.stands:
        steps.append("Replace one drive at a time, and let each rebuild end before the next.")
    else:
        steps.append("It stands no loss of a drive: copy what it holds elsewhere, prove that copy, then replace.")
    return after, steps


def _risk(sizes: tuple[int, ...], volume: Volume, lost: int) -> RebuildRisk | None:
    best = limit_of_medium(str(volume.key), volume.medium, 1) or limit_of_medium(str(volume.key), Medium.SSD, 1)
    rate = best.rate if best is not None else Fraction(1)
    return rebuild_risk(sizes, volume.parity, lost=lost, rate=rate)


def _ages(volume: Volume, today: date) -> Iterator[DriveAge]:
    for number, drive in enumerate(volume.drives, start=1):
        years = None if drive.in_service is None else (today - drive.in_service).days / _YEAR
        yield DriveAge(number=number, size=drive.size, years=years, service_years=float(SERVICE_LIFE))


def _steps(state: ArrayState) -> Iterator[str]:
    if state.stands:
        yield "Before a drive is pulled: audit, and bring every copy elsewhere up to date."
        left = state.stands - 1
        yield (
            f"While it is out the volume stands {left} more." if left else "While it is out the volume stands no loss."
        )


def _at_stake(dataset: DatasetMaterial, volume: Volume, gone_too: frozenset[Domain]) -> Iterator[AtStake]:
    """Yield the places on the volume of a dataset that no place beside it is proven to hold."""
    gone: frozenset[Domain] = frozenset({volume_domain(volume.key)})
    here = [stake for stake in dataset.stakes if stake.lost_by(gone) and stake.holds.may]
    others = [stake for stake in dataset.stakes if not stake.lost_by(gone | gone_too, perhaps=True)]
    if not here or any(stake.holds is Holds.ALL for stake in others):
        return
    part = [stake for stake in others if stake.holds.shown]
    why = f"{part[0].address} {part[0].holds.value}" if part else "nothing else is shown to hold it"
    for stake in here:
        size = size_of(dataset)
        yield AtStake(
            dataset=dataset.judged.id, address=stake.address, bytes=None if size is None else size.bytes, why=why
        )
