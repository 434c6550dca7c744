"""The recovery sheet: one page to keep on paper, which somebody else in the house can follow.

What was on a box, where the best copy of each is and as of when, where the key of an encrypted one is kept, in what
order to bring it back, and how long that takes. Nothing is told as a way back that was not shown to hold something.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.model import POINT, Device, Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.verdict import Standing
from coverage_audit.judgement.wording import joined
from coverage_audit.reports.lead import FRESH
from coverage_audit.reports.loss_datasets import lacks_said, left_out_said, site_of
from coverage_audit.reports.loss_drive import size_in_both
from coverage_audit.reports.loss_words import (
    changes_said,
    gone_with,
    keys_said,
    least_said,
    limit_said,
    time_said,
)
from coverage_audit.reports.page_words import Clock, Moment
from coverage_audit.reports.recovery_steps import if_it_is, key_kept_there, steps_before, way_to, what_stood
from coverage_audit.reports.templating import render
from coverage_audit.scenarios.loss import DatasetLoss, Fate, Loss, LossTable, Place


@dataclass(frozen=True, kw_only=True)
class Way:
    """One dataset in its turn: from where, of when, with which key, and how long."""

    name: str
    size: str
    device: str
    path: str
    site: str
    state: Moment | None
    lacks: str
    left_out: str
    key: str
    time: str
    limit: str


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """A dataset for which no way back is shown: where one may try (empty: nothing that is left holds it)."""

    name: str
    places: tuple[str, ...]


def recovery_sheet(loss: Loss, table: LossTable, estate: Estate, changes: Sequence[EstateChange] = ()) -> str:
    """Make the sheet of one loss. Raises ReportError where the template cannot be filled.

    `changes` were declared since the audit that it rests on.
    """
    clock = Clock(zone=estate.time_zone, now=table.at)
    coming, gone = _in_order(loss), gone_with(loss)
    ways = tuple(_way(dataset, dataset.best, estate, clock, gone) for dataset in coming if dataset.best is not None)
    return render(
        "recovery_sheet.html",
        table=table,
        loss=loss,
        zone=estate.time_zone.key,
        made=clock.moment(table.at),
        as_of=clock.moment(table.as_of),
        old=_old(table),
        changed=changes_said(changes),
        heading=if_it_is(loss),
        was=tuple(what_stood(loss, estate)),
        first=tuple(steps_before(loss, coming)),
        ways=ways,
        has_points=any(POINT in way.path for way in ways),
        total=least_said(loss.back) if loss.back else "",
        not_reckoned=joined(loss.not_reckoned) if loss.not_reckoned else "",
        attempts=tuple(_attempt(dataset, estate, gone) for dataset in loss.datasets if _has_no_way(dataset)),
        copies=tuple(_copy(dataset, estate, gone) for dataset in loss.of(Fate.TOUCHED)),
        keys=tuple(key_kept_there(str(key.volume), key.elsewhere, estate) for key in loss.keys),
        reach=tuple(way_to(device, estate) for device in _sources([*coming, *loss.of(Fate.TOUCHED)], estate)),
    )


def _old(table: LossTable) -> str:
    age = table.at - table.as_of
    return (
        f"That audit began {format_duration(age)} ago: look at the copies before you rely on this."
        if age > FRESH
        else ""
    )


def _in_order(loss: Loss) -> list[DatasetLoss]:
    """Return what has a way back, in the order of the loss; what that does not name comes last."""
    turn = {dataset: number for number, dataset in enumerate(loss.order)}
    coming = [dataset for dataset in loss.datasets if dataset.original_gone and not _has_no_way(dataset)]
    return sorted(coming, key=lambda dataset: turn.get(dataset.dataset, len(turn)))


def _has_no_way(dataset: DatasetLoss) -> bool:
    best = dataset.best
    shown = best is not None and best.holds.shown and not best.key_gone
    return dataset.original_gone and (not shown or dataset.fate in {Fate.LOST, Fate.NOT_SHOWN})


def _way(dataset: DatasetLoss, best: Place, estate: Estate, clock: Clock, gone: Collection[str]) -> Way:
    device, path = place_on_box(best, estate)
    return Way(
        name=dataset.dataset,
        size=size_in_both(dataset.size.bytes) if dataset.size is not None else "size not known",
        device=device,
        path=path,
        site=site_of(best, estate),
        state=clock.maybe(dataset.since),
        lacks=lacks_said(dataset) if best.standing is Standing.PROVEN else f"{best.standing}; {lacks_said(dataset)}",
        left_out=left_out_said(dataset),
        key=keys_said(best, estate, gone),
        time=time_said(dataset.restore),
        limit=limit_said(dataset.restore) if dataset.restore is not None and dataset.restore.time else "",
    )


def place_on_box(place: Place, estate: Estate) -> tuple[str, str]:
    """Return a place's device and its path there, as one types it; of a loose drive from its own root on."""
    if isinstance(estate.device(place.address.volume.device).access, ShelfAccess):
        return place.address.volume.device, place.address.path or "all of it"
    return place.address.volume.device, estate.volume(place.address.volume).at(place.address.path)


def _attempt(dataset: DatasetLoss, estate: Estate, gone: Collection[str]) -> Attempt:
    open_to_try = [place for place in dataset.left if place.holds is not Holds.NOTHING]
    return Attempt(name=dataset.dataset, places=tuple(_place(place, estate, gone) for place in open_to_try))


def _copy(dataset: DatasetLoss, estate: Estate, gone: Collection[str]) -> tuple[str, str]:
    """Return a dataset that only loses copies, and where its original stands."""
    best = dataset.best
    return dataset.dataset, "its original, not seen" if best is None else _place(best, estate, gone)


def _place(place: Place, estate: Estate, gone: Collection[str]) -> str:
    device, path = place_on_box(place, estate)
    key = keys_said(place, estate, gone)
    return f"{device}, {path} ({site_of(place, estate)}{'; ' + key if key else ''})"


def _sources(datasets: Sequence[DatasetLoss], estate: Estate) -> list[Device]:
    ids = dict.fromkeys(dataset.best.address.volume.device for dataset in datasets if dataset.best is not None)
    return [estate.device(each) for each in ids]
