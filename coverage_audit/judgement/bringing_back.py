"""How long it takes at least until data is back from one place: the slowest of all that is on the way rules.

It comes back to where it was: to a box of the same kind and link, in the place of the one that is gone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.hardware import ParityKind
from coverage_audit.estate.model import Address, Device, DeviceId, Estate, Medium, Volume
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.verdict import JudgedCopy
from coverage_audit.reckoning.restoring import (
    Limit,
    TimeBack,
    limit_as_measured,
    limit_of_link,
    limit_of_medium,
    time_back,
)

_NOT_FETCHED: Final = "How long it takes to have {device} here is not declared (`fetch_time`), and not in this figure."
_NO_LINK: Final = "No link of {device} is declared (`link`), so that it limits nothing in this figure."
_DRILLS: Final = "median of the last drills"
_ONE_AT_A_TIME: Final = frozenset({Medium.TAPE, Medium.OPTICAL})


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """How long it takes from one place (`time` None: of nothing on the way a rate is known).

    `shown`: the rate was measured and the time to fetch is known; else it takes at least that long.
    """

    source: Address
    time: TimeBack | None
    shown: bool
    open: str  # what is not known, in a few words (empty: nothing)

    @property
    def least(self) -> timedelta:
        """Return the time that it takes at least: zero where nothing is known."""
        return self.time.time if self.time is not None else timedelta(0)


def estimate(source: Address, to: Address, size: int, estate: Estate, rates: Iterable[MeasuredRate]) -> Estimate:
    """Reckon how long `size` bytes take from one place to another."""
    box = estate.device(source.volume.device)
    rate = next((measured.rate for measured in rates if measured.volume == source.volume), None)
    found = time_back(size, tuple(_limits(source, to, estate, rate)), box.fetch_time)
    unfetched = box.fetch_time is None and _is_to_be_fetched(box, to, estate)
    lacking = [] if rate is not None else ["no drill has measured it"]
    lacking += [f"no `fetch_time` of {box.id} is declared"] if unfetched else []
    if found is None:
        return Estimate(source=source, time=None, shown=False, open="neither a link nor a drill tells how fast it is")
    said = [_NOT_FETCHED.format(device=box.id)] if unfetched else []
    said += [
        _NO_LINK.format(device=device) for device in _on_the_way(source, to, estate) if _link(device, estate) is None
    ]
    return Estimate(
        source=source,
        time=replace(found, assumptions=(*found.assumptions, *said)),
        shown=not lacking,
        open=", and ".join(lacking),
    )


def what_comes_back(copy: JudgedCopy, context: DatasetContext) -> Tally | None:
    """Return all that there is to bring back from a copy: what the original held when it was last seen (None: never).

    What patterns leave out of this copy is not in it, where the two were compared.
    """
    if copy.comparison is not None:
        return copy.comparison.original
    evidence = context.case.original
    tree = evidence.tree if isinstance(evidence.tree, Manifest) else evidence.as_of
    return Tally(files=tree.census.files, bytes=tree.census.bytes) if tree is not None else None


def _limits(source: Address, to: Address, estate: Estate, rate: int | None) -> Iterator[Limit]:
    for device in _on_the_way(source, to, estate):
        link = _link(device, estate)
        if link is not None:
            yield limit_of_link(device, link)
    ends = (estate.volume(source.volume), estate.volume(to.volume))
    mediums = [_of_medium(volume, estate, written=volume is ends[1]) for volume in ends]
    known = [limit for limit in mediums if limit is not None]
    if known:
        yield min(known, key=lambda limit: limit.rate)
    if rate is not None:
        yield limit_as_measured(str(source.volume), rate, _DRILLS)


def _of_medium(volume: Volume, estate: Estate, *, written: bool) -> Limit | None:
    """Return what a volume's drives do at best together (None: how many there are is not declared).

    A mirror is read from all of its drives at once, and each of them writes everything.
    """
    on_a_shelf = isinstance(estate.device(volume.key.device).access, ShelfAccess)
    count = len(volume.drives) or int(on_a_shelf or volume.medium in _ONE_AT_A_TIME)
    if not count:
        return None
    parity = volume.parity
    if parity is not None and parity.kind is ParityKind.MIRROR:
        return limit_of_medium(str(volume.key), volume.medium, 1 if written else count)
    spent = parity.drives if parity is not None else 0
    return limit_of_medium(str(volume.key), volume.medium, max(1, count - spent))


def _on_the_way(source: Address, to: Address, estate: Estate) -> tuple[DeviceId, ...]:
    """Return the boxes whose links the data passes: none where it stays on its box or comes off a shelf."""
    ends = (source.volume.device, to.volume.device)
    if ends[0] == ends[1] or any(isinstance(estate.device(end).access, ShelfAccess) for end in ends):
        return ()
    return ends


def _link(device: DeviceId, estate: Estate) -> int | None:
    return estate.device(device).link


def _is_to_be_fetched(box: Device, to: Address, estate: Estate) -> bool:
    return isinstance(box.access, ShelfAccess) and box.site != estate.device(to.volume.device).site
