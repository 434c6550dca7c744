"""What is lost, in words for a terminal: one failure with all that it does, or all of them, the worst first.

It reads well aloud: sentences and labelled lines, no drawing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from coverage_audit.estate.changes import ChangeKind, EstateChange, said
from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.judgement.wording import joined, when
from coverage_audit.reports.lead import FRESH
from coverage_audit.reports.link_words import OF_GROWTH, link_said
from coverage_audit.reports.loss_cuts import cuts_view, weakest_first
from coverage_audit.reports.loss_text_one import one_loss
from coverage_audit.reports.loss_words import least_said, table_said
from coverage_audit.reports.plain import Paper
from coverage_audit.scenarios.link_load import LinkLoad
from coverage_audit.scenarios.loss import Fate, Loss, LossTable

_CHANGES: Final = 5
_CUTS: Final = 12


def loss_text(
    table: LossTable,
    estate: Estate,
    *,
    width: int,
    colour: bool,
    changes: Sequence[EstateChange] = (),
    loads: Sequence[LinkLoad] = (),
) -> str:
    """Say it; ends with a newline."""
    paper = Paper(width=width, colour=colour)
    lines = [*_head(table, estate, paper, changes)]
    if len(table.losses) == 1:
        lines += one_loss(table.losses[0], table, estate, paper)
    else:
        lines += _all(table, paper)
        lines += _cuts(table, paper)
        lines += _links(loads, estate, paper)
    assumed = dict.fromkeys((*table.assumptions, *(s for loss in table.losses for s in loss.assumptions)))
    lines += paper.heading("What is assumed")
    lines += [line for sentence in assumed for line in paper.wrapped(f"- {sentence}", hanging=2)]
    return "\n".join(lines) + "\n"


def _head(table: LossTable, estate: Estate, paper: Paper, changes: Sequence[EstateChange]) -> Iterator[str]:
    stamp = " (a rehearsal)" if table.rehearsal else ""
    yield from paper.wrapped(f"{table.estate}{stamp}: {table_said(table)}")
    age = table.at - table.as_of
    old = "; nothing since is proven" if age > FRESH else ""
    began = when(table.as_of, estate.time_zone)
    yield from paper.wrapped(f"It rests on the audit begun {began}, {format_duration(age)} ago{old}.")
    for change in changes[:_CHANGES]:
        news = "After that audit" if change.kind is ChangeKind.DAMAGED else "Declared since, and not judged"
        yield from paper.wrapped(f"{news}: {said(change)}")
    if len(changes) > _CHANGES:
        yield f"and {len(changes) - _CHANGES} more changes of the estate"
    for name in table.unjudged:
        yield from paper.wrapped(f"Not judged, and counted for nothing: {name}")


def _all(table: LossTable, paper: Paper) -> Iterator[str]:
    yield from paper.heading("Single failures, the worst first")
    for loss in table.losses:
        yield from paper.wrapped(f"{loss.domain}: {_told(loss)}", hanging=2)


def _told(loss: Loss) -> str:
    parts = [f"{_names(loss, fate)} {_VERBS[fate]}" for fate in Fate if loss.of(fate)]
    told = "; ".join(parts) or "nothing is lost"
    below = [str(one.dataset) for one in loss.datasets if any(criterion.is_new for criterion in one.below)]
    said_below = f"; newly below policy: {joined(below)}" if below else ""
    back = f"; back in {least_said(loss.back)}" if loss.back else ""
    unknown = f" (without {joined(loss.not_reckoned)})" if loss.not_reckoned and back else ""
    at_stake = dict.fromkeys(str(one.dataset) for one in loss.drive.at_stake) if loss.drive is not None else {}
    alone = f"; until it is made up no copy elsewhere is proven of {joined(at_stake)}" if at_stake else ""
    return f"{told}{said_below}{back}{unknown}{alone}."


_VERBS: Final = {
    Fate.LOST: "lost whole",
    Fate.NOT_SHOWN: "not shown to be left",
    Fate.FALLS_BACK: "back to an older state",
    Fate.HELD: "held elsewhere as last seen",
    Fate.TOUCHED: "less covered",
}


def _links(loads: Sequence[LinkLoad], estate: Estate, paper: Paper) -> Iterator[str]:
    if loads:
        yield from paper.heading("What links between sites have to carry")
        for load in loads:
            yield from paper.wrapped(link_said(load, estate), hanging=2)
        yield from paper.wrapped(OF_GROWTH)


def _names(loss: Loss, fate: Fate) -> str:
    return joined(str(one.dataset) for one in loss.of(fate))


def _cuts(table: LossTable, paper: Paper) -> Iterator[str]:
    yield from paper.heading("The fewest failures that lose each dataset")
    for cuts in map(cuts_view, weakest_first(table.cuts)):
        yield from paper.wrapped(f"{cuts.name}: {cuts.said}", hanging=2)
        for found in cuts.sets[:_CUTS]:
            doubt = f" ({found.doubt})" if found.doubt else ""
            yield from paper.wrapped(f"{' together with '.join(found.members)}{doubt}", indent=2, hanging=4)
        if len(cuts.sets) > _CUTS:
            yield f"  and {len(cuts.sets) - _CUTS} more (--json has them all)"
        if cuts.not_counted:
            yield from paper.wrapped(
                f"not counted, as nothing shows that they hold it: {joined(cuts.not_counted)}", indent=2
            )
