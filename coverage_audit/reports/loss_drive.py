"""What the page prints of a volume while one of its drives is out: figures with their units, and what they assume."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil
from typing import Final

from coverage_audit.estate.units import format_least, format_size
from coverage_audit.reckoning.rebuilding import RebuildRisk
from coverage_audit.scenarios.drive_out import ArrayState, DriveAge, DriveOut

_TIB: Final = 1024**4
_GIB: Final = 1024**3


@dataclass(frozen=True, kw_only=True)
class DriveView:
    """One drive out: its figures as pairs, what is at stake, what to mind.

    `apart` says that this is another question than the one before it (empty: it is not).
    """

    title: str
    apart: str
    figures: tuple[tuple[str, str], ...]
    ages: tuple[str, ...]
    at_stake: tuple[tuple[str, str], ...]
    steps: tuple[str, ...]
    assumptions: tuple[str, ...]


def drive_view(drive: DriveOut, *, of_whole: bool = False) -> DriveView:
    """Prepare a volume with a drive out; `of_whole`: beside the loss of the whole volume, which it has no part in."""
    assumed = drive.risk.assumptions if drive.risk is not None else ()
    return DriveView(
        title=f"{drive.volume} while drive {drive.number} is out",
        apart=f"This is another question: {drive.volume} stays, and its drives are replaced." if of_whole else "",
        figures=tuple(_figures(drive)),
        ages=tuple(map(_age_said, drive.ages)),
        at_stake=tuple((f"{one.dataset} at {one.address}", f"{_size(one.bytes)}: {one.why}") for one in drive.at_stake),
        steps=drive.steps,
        assumptions=(*assumed, *drive.assumptions),
    )


def size_in_both(size: int) -> str:
    """Say a size in decimal units, with the binary one in brackets from a gigabyte on (`12.0 TB (10.91 TiB)`)."""
    unit, word = (_TIB, "TiB") if size >= _TIB else (_GIB, "GiB")
    return f"{format_size(size)} ({size / unit:.2f} {word})" if size >= _GIB else format_size(size)


def chance_said(chance: float) -> str:
    """Say an upper estimate of a chance in per cent, never as nothing where it is something."""
    tenths = ceil(1000 * chance)  # up: a bound that is rounded down is none
    return f"at most {tenths / 10:.1f} %" if tenths else "0 %"


def _figures(drive: DriveOut) -> Iterator[tuple[str, str]]:
    yield from _array("", drive.array)
    if not drive.array.wrong:
        yield from _array(", without it", drive.without)
    if drive.replaced is not None:
        yield from _array(", replaced", drive.replaced)
    if drive.risk is not None:
        yield from _rebuild(drive.risk)
    elif not drive.array.wrong:
        yield "Meanwhile", "all that is on it is lost: it stands no loss"


def _array(beside: str, array: ArrayState) -> Iterator[tuple[str, str]]:
    parity = f"; parity {array.parity}" if array.parity else "; no parity"
    yield f"Drives{beside}", f"{', '.join(map(format_size, array.drives))}{parity}"
    if array.wrong:
        yield f"Usable{beside}", f"no such array can be: {array.wrong}"
        return
    unused = f", {size_in_both(array.unused)} unused" if array.unused else ""
    yield f"Usable{beside}", f"{size_in_both(array.usable)}{unused}"
    yield f"Whole{beside}", f"it stands {_losses(array.stands)}"


def _rebuild(risk: RebuildRisk) -> Iterator[tuple[str, str]]:
    yield "Until it is made up", f"it stands {_losses(risk.spare)}"
    yield "A rebuild reads", f"{size_in_both(risk.rebuild.read)} and writes {size_in_both(risk.rebuild.written)}"
    yield "A rebuild takes", format_least(risk.least)
    yield "Something cannot be read", chance_said(risk.unreadable)
    yield "A further drive fails", chance_said(risk.further)
    yield "Data is lost by either", chance_said(risk.losing)
    yield "Such a loss in any year", chance_said(risk.in_a_year)


def _losses(count: int) -> str:
    return {0: "no further loss", 1: "the loss of 1 drive"}.get(count, f"the loss of {count} drives")


def _age_said(age: DriveAge) -> str:
    size = format_size(age.size)
    if age.years is None:
        return f"Drive {age.number} ({size}): since when it runs is not declared."
    over = f", past {age.service_years:g} years of service" if age.is_over else ""
    return f"Drive {age.number} ({size}): {age.years:.1f} years{over}."


def _size(size: int | None) -> str:
    return "size not known" if size is None else size_in_both(size)
