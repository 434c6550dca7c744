"""The page of what is lost: one self-contained file that needs no scripts and asks for nothing.

Its first screen answers what single failures do, the worst first; then stand the smallest sets of failures that lose
each dataset, and every failure with what is left, how far back that falls, and how long until it is back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.domains import DomainKind
from coverage_audit.judgement.wording import joined
from coverage_audit.reports.lead import FRESH
from coverage_audit.reports.link_words import OF_GROWTH, fits_said, link_said
from coverage_audit.reports.loss_cuts import cuts_view, weakest_first
from coverage_audit.reports.loss_datasets import LossView, loss_view, slug
from coverage_audit.reports.loss_drive import DriveView, drive_view
from coverage_audit.reports.loss_words import (
    NOT_KNOWN,
    besides_said,
    changes_said,
    gone_with,
    least_said,
    loss_said,
    named,
    table_said,
)
from coverage_audit.reports.page_words import Clock
from coverage_audit.reports.templating import render
from coverage_audit.scenarios.link_load import LinkLoad
from coverage_audit.scenarios.loss import AlsoFalls, Fate, Loss, LossTable

_OPEN: Final = 3
"""So many losses stand open; the details of the others fold away behind their names."""
_MANY: Final = 24
"""So many rows of a table stand open."""


@dataclass(frozen=True, kw_only=True)
class DomainView:
    """One failure domain: its row in the table, and its own part of the page."""

    name: str
    kind: str
    said: str
    sentence: str
    besides: str
    counts: tuple[tuple[str, int], ...]
    furthest: str
    below: int
    back: str
    not_reckoned: str
    datasets: tuple[LossView, ...]
    untouched: int
    also: tuple[AlsoFalls, ...]
    survives: tuple[AlsoFalls, ...]
    keys: tuple[str, ...]
    order: str
    drive: DriveView | None
    assumptions: tuple[str, ...]


def loss_page(
    table: LossTable, estate: Estate, changes: Sequence[EstateChange] = (), loads: Sequence[LinkLoad] = ()
) -> str:
    """Make the page of one loss or of all. Raises ReportError where the template cannot be filled.

    `changes` were declared since the audit that it rests on, `loads` are what links between sites have to carry.
    """
    clock = Clock(zone=estate.time_zone, now=table.at)
    age = table.at - table.as_of
    several = len(table.losses) != 1
    return render(
        "loss.html",
        table=table,
        zone=estate.time_zone.key,
        made=clock.moment(table.at),
        as_of=clock.moment(table.as_of),
        old=f"The audit behind this began {format_duration(age)} ago; nothing since is proven." if age > FRESH else "",
        changed=changes_said(changes),
        sentence=table_said(table),
        domains=tuple(_domain(loss, estate, clock, () if several else table.assumptions) for loss in table.losses),
        assumptions=table.assumptions if several else (),
        cuts=tuple(map(cuts_view, weakest_first(table.cuts))),
        links=tuple((fits_said(load), link_said(load, estate)) for load in loads),
        of_growth=OF_GROWTH,
        open=_OPEN,
        many=_MANY,
    )


def _domain(loss: Loss, estate: Estate, clock: Clock, others: tuple[str, ...] = ()) -> DomainView:
    whole = loss.domain.kind is DomainKind.VOLUME
    return DomainView(
        name=str(loss.domain),
        kind=loss.domain.kind,
        said=loss.said,
        sentence=loss_said(loss),
        besides=besides_said(loss),
        counts=tuple((slug(fate), len(loss.of(fate))) for fate in Fate),
        furthest=_furthest(loss, clock),
        below=sum(any(one.is_new for one in dataset.below) for dataset in loss.datasets),
        back=_back(loss),
        not_reckoned=joined(loss.not_reckoned) if loss.not_reckoned else "",
        datasets=tuple(loss_view(dataset, estate, clock, gone_with(loss)) for dataset in loss.datasets),
        untouched=len(loss.untouched),
        also=loss.also,
        survives=loss.survives,
        keys=tuple(_key(str(key.volume), key.elsewhere, estate) for key in loss.keys),
        order=joined(loss.order) if len(loss.order) > 1 else "",
        drive=None if loss.drive is None else drive_view(loss.drive, of_whole=whole),
        assumptions=tuple(dict.fromkeys((*loss.assumptions, *others))),
    )


def _furthest(loss: Loss, clock: Clock) -> str:
    """Say how far back the worst survivor falls, of those whose state is known."""
    falling = [dataset for dataset in loss.datasets if dataset.original_gone and dataset.best is not None]
    known = [dataset.since for dataset in falling if dataset.since is not None]
    if not falling:
        return ""
    if len(known) < len(falling):
        return NOT_KNOWN
    return format_duration(clock.now - min(known))


def _back(loss: Loss) -> str:
    """Say how long all of it takes (empty: nothing has to come back); what nothing is known of is named beside it."""
    if loss.back is None:
        return NOT_KNOWN if loss.order or loss.not_reckoned else ""
    return least_said(loss.back) if loss.back > timedelta(0) else ""


def _key(volume: str, elsewhere: Sequence[str], estate: Estate) -> str:
    if not elsewhere:
        return f"The only declared key of {volume} is gone with it: what is encrypted there is lost."
    return f"A key of {volume} is kept there; it is also kept at {joined(named(elsewhere, estate))}."
