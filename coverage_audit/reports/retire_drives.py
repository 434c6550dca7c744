"""A drive that is to be retired, in words: whose verdict it is, whether the array stands it, and its figures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from coverage_audit.audits.retirement import Retirement
from coverage_audit.judgement.wording import joined
from coverage_audit.reports.json_object import Json
from coverage_audit.reports.loss_drive import DriveView, drive_view
from coverage_audit.reports.loss_json_drive import drive_object
from coverage_audit.scenarios.drive_out import DriveOut


@dataclass(frozen=True, kw_only=True)
class DriveTold:
    """A drive's sentences before its figures, and these."""

    said: tuple[str, ...]
    view: DriveView


def drives_told(found: Retirement) -> tuple[DriveTold, ...]:
    """Prepare each drive that was asked about."""
    return tuple(
        DriveTold(said=tuple(_said(drive, _together(found, drive), found)), view=drive_view(drive))
        for drive in found.drives
    )


def drives_list(found: Retirement) -> list[Json]:
    """Return them for the JSON: `out_together` are all drives of that volume that are asked about, `stood` of these."""
    return [
        {**drive_object(drive), "out_together": [*_together(found, drive)], "stood": _stood(found, drive)}
        for drive in found.drives
    ]


def _together(found: Retirement, drive: DriveOut) -> tuple[int, ...]:
    return tuple(sorted(one.number for one in found.drives if one.volume == drive.volume))


def _stood(found: Retirement, drive: DriveOut) -> bool:
    return not drive.array.wrong and len(_together(found, drive)) <= drive.array.stands


def _said(drive: DriveOut, together: tuple[int, ...], found: Retirement) -> Iterator[str]:
    yield (
        f'The verdict "{found.verdict.value}" is for all that is on {drive.volume}, as if the whole volume was lost:'
        " that is the safe reading."
    )
    several = len(together) > 1
    which = f"drives {joined(map(str, together))} at once" if several else f"drive {drive.number}"
    if drive.array.wrong:
        yield f"Its drives are no array as they are declared: whether it stands the loss of {which} cannot be said."
    elif _stood(found, drive):
        yield f"As its drives and parity are declared it stands the loss of {which}: by that alone nothing is lost."
    else:
        yield f"As its drives and parity are declared it does not stand the loss of {which}: all that is on it is lost."
    if several:
        yield f"The figures below are those of drive {drive.number} out alone, and the others in their places."
    if not drive.at_stake:
        yield "Each dataset on it has a proven copy elsewhere; files of no dataset are counted with the verdict."
    if drive.replaced is None:
        yield "With --replace OLD=NEW --count N it says what the volume holds once drives gave way to others."
