"""How much drives of mixed sizes hold together, and how many of them may be lost. All sizes in decimal bytes.

Equal slices: every drive counts as the smallest, as many of them as parity are spent (mdadm(8), `--size`). Dedicated
parity is Patterson's level 4 with data drives of unequal size: each keeps its own, and a parity drive must hold at
least as much as the largest of them. Of a mirror the smallest counts. What the arrangement itself takes (labels,
tables of the filesystem) is not reckoned: a volume shows a little less.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coverage_audit.estate.hardware import Parity, ParityKind
from coverage_audit.estate.units import format_size, parse_size


@dataclass(frozen=True, kw_only=True)
class Array:
    """What some drives are together.

    `usable` bytes can be filled; `unused` bytes serve neither for data nor for parity; so many drives may be lost at
    once (`stands`) with nothing lost.
    """

    usable: int
    unused: int
    stands: int


@dataclass(frozen=True, kw_only=True)
class Rebuild:
    """What making up one lost drive moves, in bytes: read of all the others together, written to the new one."""

    read: int
    written: int


@dataclass(frozen=True, kw_only=True)
class Replacement:
    """An array before and after some of its drives were replaced.

    `parity_first`: the new drives are larger than a drive of the dedicated parity, which therefore has to be replaced
    before any other.
    """

    before: Array
    after: Array
    drives: tuple[int, ...]
    parity_first: bool


def array_of(drives: Sequence[int], parity: Parity | None) -> Array:
    """Return what drives of these sizes are together; without parity each simply adds its own, and none may be lost.

    Of dedicated parity the largest drives hold it, as they must. Raises ValueError, in words for the owner, where no
    such array can be.
    """
    if not drives or min(drives) <= 0:
        raise ValueError("an array needs drives, each of more than 0 bytes")
    if parity is None:
        return Array(usable=sum(drives), unused=0, stands=0)
    if parity.kind is ParityKind.MIRROR:
        return _mirror(drives)
    _refuse_too_much(len(drives), parity.drives)
    if parity.kind is ParityKind.SPREAD:
        return _slices(drives, parity.drives)
    largest_first = sorted(drives, reverse=True)
    return dedicated(parity=largest_first[: parity.drives], data=largest_first[parity.drives :])


def dedicated(*, parity: Sequence[int], data: Sequence[int]) -> Array:
    """Return the array of these parity and data drives. Raises ValueError where a parity drive is smaller than data."""
    _refuse_too_much(len(parity) + len(data), len(parity))
    largest = max(data)
    if min(parity) < largest:
        raise ValueError(
            f"a parity drive of {min(parity)} bytes cannot make up a data drive of {largest} bytes"
            " (the parity drives must be the largest)"
        )
    return Array(usable=sum(data), unused=sum(parity) - len(parity) * largest, stands=len(parity))


def rebuild_of(drives: Sequence[int], parity: Parity | None, lost: int) -> Rebuild | None:
    """Return what making up a lost drive of this size moves at most; None where nothing stands a loss.

    `lost` is one of `drives`. Dedicated parity reads every other drive as far as the lost one reaches.
    Raises ValueError as `array_of` does, and where no drive has that size.
    """
    if lost not in drives:
        raise ValueError(f"no drive of the array has {lost} bytes")
    if parity is None or array_of(drives, parity).stands == 0:
        return None
    if parity.kind is ParityKind.MIRROR:
        return Rebuild(read=min(drives), written=min(drives))
    if parity.kind is ParityKind.SPREAD:
        return Rebuild(read=(len(drives) - 1) * min(drives), written=min(drives))
    others = list(drives)
    others.remove(lost)
    return Rebuild(read=sum(min(size, lost) for size in others), written=lost)


def replace(drives: Sequence[int], parity: Parity | None, *, old: int, new: int, count: int) -> Replacement:
    """Return the array before and after `count` drives of `old` bytes gave way to drives of `new` bytes.

    Raises ValueError where there are not so many of them, where what the parity makes up does not fit on a new one, or
    no such array can be.
    """
    there = sum(size == old for size in drives)
    if not 0 < count <= there:
        drives_said = "1 drive" if count == 1 else f"{count} drives"
        raise ValueError(f"{drives_said} of {_said(old)} cannot be replaced: the array has {there} of them")
    least = _made_up(drives, parity, old)
    if new < least:
        raise ValueError(
            f"a drive of {_said(new)} cannot take the place of one of {_said(old)}: {_said(least)} are made up on it"
        )
    after = _replaced(drives, old, new, count)
    parity_first = False
    if parity is not None and parity.kind is ParityKind.DEDICATED and len(drives) > parity.drives:
        parity_first = new > sorted(drives, reverse=True)[parity.drives - 1]
    return Replacement(
        before=array_of(drives, parity), after=array_of(after, parity), drives=after, parity_first=parity_first
    )


def _made_up(drives: Sequence[int], parity: Parity | None, lost: int) -> int:
    """Return how many bytes have to fit on what takes the place of a drive; without parity nothing is made up."""
    if parity is None:
        return 0
    if parity.kind is not ParityKind.DEDICATED:
        return min(drives)
    data = sorted(drives, reverse=True)[parity.drives :]
    return min(lost, data[0]) if data else lost


def _replaced(drives: Sequence[int], old: int, new: int, count: int) -> tuple[int, ...]:
    sizes, left = [], count
    for size in drives:
        swap = size == old and left > 0
        left -= swap
        sizes.append(new if swap else size)
    return tuple(sizes)


def _said(size: int) -> str:
    """Say a size as people read it, with its bytes where that is not all of it."""
    said = format_size(size)
    return said if parse_size(said) == size else f"{said} ({size} bytes)"


def _mirror(drives: Sequence[int]) -> Array:
    if len(drives) < 2:
        raise ValueError("a mirror needs at least two drives")
    smallest = min(drives)
    return Array(usable=smallest, unused=sum(drives) - len(drives) * smallest, stands=len(drives) - 1)


def _slices(drives: Sequence[int], parity: int) -> Array:
    slice_size = min(drives)
    unused = sum(drives) - len(drives) * slice_size
    return Array(usable=(len(drives) - parity) * slice_size, unused=unused, stands=parity)


def _refuse_too_much(drives: int, parity: int) -> None:
    if parity < 1:
        raise ValueError("an array with parity spends at least one drive on it")
    if drives <= parity:
        raise ValueError(f"of {drives} drives {parity} hold parity: none is left for data")
