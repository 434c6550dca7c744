"""A volume with a drive out, as part of the JSON of a loss. Chances are written as texts: shares from 0 to 1."""

from __future__ import annotations

from datetime import timedelta

from coverage_audit.reckoning.rebuilding import RebuildRisk
from coverage_audit.reports.json_object import Json
from coverage_audit.scenarios.drive_out import ArrayState, DriveOut


def drive_object(drive: DriveOut) -> dict[str, Json]:
    """Return it with its figures in bytes and seconds."""
    return {
        "volume": str(drive.volume),
        "number": drive.number,
        "array": _array(drive.array),
        "without": _array(drive.without),
        "replaced": None if drive.replaced is None else _array(drive.replaced),
        "rebuild": None if drive.risk is None else _rebuild(drive.risk),
        "ages": [
            {
                "number": age.number,
                "bytes": age.size,
                "years": None if age.years is None else f"{age.years:.2f}",
                "past_service": age.is_over,
            }
            for age in drive.ages
        ],
        "at_stake": [
            {"dataset": str(one.dataset), "at": str(one.address), "bytes": one.bytes, "why": one.why}
            for one in drive.at_stake
        ],
        "steps": list(drive.steps),
        "assumptions": list(drive.assumptions),
    }


def _array(array: ArrayState) -> Json:
    return {
        "drives": list(array.drives),
        "parity": array.parity,
        "usable": array.usable,
        "unused": array.unused,
        "stands": array.stands,
        "wrong": array.wrong,
    }


def _rebuild(risk: RebuildRisk) -> Json:
    return {
        "reads": risk.rebuild.read,
        "writes": risk.rebuild.written,
        "stands": risk.spare,
        "at_least": risk.least // timedelta(seconds=1),
        "unreadable_at_most": f"{risk.unreadable:.3g}",
        "further_loss_at_most": f"{risk.further:.3g}",
        "data_lost_at_most": f"{risk.losing:.3g}",
        "data_lost_in_a_year_at_most": f"{risk.in_a_year:.3g}",
        "assumptions": list(risk.assumptions),
    }
