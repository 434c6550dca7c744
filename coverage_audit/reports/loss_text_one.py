"""One failure in words for a terminal: what falls with it, each dataset, when it is back, and drives."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from coverage_audit.estate.model import Estate
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.domains import DomainKind
from coverage_audit.judgement.wording import age, amount, files, joined, when
from coverage_audit.reports.loss_datasets import lacks_said
from coverage_audit.reports.loss_drive import drive_view
from coverage_audit.reports.loss_words import (
    besides_said,
    gone_with,
    holds_said,
    keys_said,
    least_said,
    limit_said,
    time_said,
)
from coverage_audit.reports.plain import Paper
from coverage_audit.scenarios.drive_out import DriveOut
from coverage_audit.scenarios.loss import AlsoFalls, DatasetLoss, Loss, LossTable, Place


def one_loss(loss: Loss, table: LossTable, estate: Estate, paper: Paper) -> Iterator[str]:
    """Say all that one failure does."""
    for sentence in _about(loss):
        yield from paper.wrapped(sentence)
    for dataset in loss.datasets:
        yield from paper.heading(visible(f"{dataset.dataset}: {dataset.fate.value}"))
        for line in _of_dataset(dataset, table, estate, gone_with(loss)):
            yield from paper.wrapped(line, hanging=2)
    for sentence in _together(loss):
        yield ""
        yield from paper.wrapped(sentence)
    if loss.drive is not None:
        yield from _drive(loss.drive, paper, of_whole=loss.domain.kind is DomainKind.VOLUME)


def _about(loss: Loss) -> Iterator[str]:
    yield from filter(None, [besides_said(loss)])
    if loss.also:
        yield f"Falls with it: {_named(loss.also)}."
    if loss.survives:
        yield f"Survives it: {_named(loss.survives)}."
    for key in loss.keys:
        also = f"also kept at {joined(key.elsewhere)}" if key.elsewhere else "and nowhere else: it opens no more"
        yield f"A key of {key.volume} is kept there, {also}."


def _named(falling: tuple[AlsoFalls, ...]) -> str:
    return "; ".join(f"{one.name} ({one.why})" for one in falling)


def _together(loss: Loss) -> Iterator[str]:
    if loss.untouched:
        yield f"Not touched: {joined(map(str, loss.untouched))}."
    if loss.back is not None:
        without = f", without {joined(loss.not_reckoned)}, of which no rate is known" if loss.not_reckoned else ""
        turn = f" In this order: {joined(map(str, loss.order))}." if len(loss.order) > 1 else ""
        yield f"All of it is back in {least_said(loss.back)}{without}.{turn}"


def _of_dataset(loss: DatasetLoss, table: LossTable, estate: Estate, gone: Collection[str]) -> Iterator[str]:
    size = amount(loss.size) if loss.size is not None else "never seen whole"
    yield f"Held: {size}. Gone: {joined(str(place.address) for place in loss.gone) or 'nothing for sure'}."
    if loss.original_gone and loss.best is not None:
        yield from _back(loss, _place(loss.best, estate, gone), table, estate)
    if loss.original_gone and loss.left_out.files:
        yield f"Left out of its copies by its patterns, and lost: {amount(loss.left_out)}."
    if loss.exposed is not None and loss.exposed.files:
        yield f"Held by no copy at all: {files(loss.exposed.files)}."
    for place in loss.left:
        if place != loss.best:
            yield f"Also left: {_place(place, estate, gone)}."
    for one in loss.below:
        already = "" if one.is_new else " (already now)"
        yield f"Below policy{already}: {one.finding.message}"


def _back(loss: DatasetLoss, best: str, table: LossTable, estate: Estate) -> Iterator[str]:
    zone = estate.time_zone
    yield f"Best copy: {best}; {lacks_said(loss)}."
    since = "not known" if loss.since is None else f"{when(loss.since, zone)}, {age(loss.since, table.at)}"
    yield f"It falls back to: {since}."
    if loss.since_trimmed is not None and loss.since_trimmed != loss.since:
        yield f"Without the few files that stick out: {when(loss.since_trimmed, zone)}."
    limit = limit_said(loss.restore)
    yield f"Back in: {time_said(loss.restore)}{f' ({limit})' if limit else ''}."


def _place(place: Place, estate: Estate, gone: Collection[str]) -> str:
    key = keys_said(place, estate, gone)
    return f"{place.address}, {holds_said(place)}{'; ' + key if key else ''} ({place.why})"


def _drive(drive: DriveOut, paper: Paper, *, of_whole: bool) -> Iterator[str]:
    view = drive_view(drive, of_whole=of_whole)
    yield from paper.heading(visible(f"Apart from that: {view.title}" if view.apart else view.title))
    yield from paper.wrapped(view.apart) if view.apart else ()
    lines = [f"{name}: {figure}" for name, figure in view.figures]
    lines += [*view.ages, *view.steps]
    lines += [f"No proven copy elsewhere: {name}, {what}" for name, what in view.at_stake]
    lines += [f"- {assumption}" for assumption in view.assumptions]
    for line in lines:
        yield from paper.wrapped(line, hanging=2)
