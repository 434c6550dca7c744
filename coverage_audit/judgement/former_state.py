"""Where the state before a change of much at once still is: in mirrors that have not taken it over, in older points.

Mirrors are told by their rows, points by their dates alone unless their files were compared. What was not seen in this
audit is told as such.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import RecoveryPoint
from coverage_audit.evidence.turnover import MassChange, Sign
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.dated import Dated, dated_copies
from coverage_audit.judgement.verdict import Ground, JudgedCopy
from coverage_audit.judgement.wording import amount, joined, so_many, when


@dataclass(frozen=True, kw_only=True)
class FormerState:
    """What is known of the copies: sentences, and whether any holds the state before (`held`), or may (`perhaps`).

    `holding` names the mirrors that a run would take it from.
    """

    sentences: tuple[str, ...]
    held: bool
    perhaps: bool
    holding: tuple[str, ...] = ()


def former_state(change: MassChange, context: DatasetContext) -> FormerState:
    """Say which copies still hold the state before the change, which do not, and of which it is not known."""
    mirrors = [_Mirror(copy=copy, context=context) for copy in context.copies if copy.evidence.copy.points is None]
    points = [_Points(one=one, change=change, context=context) for one in dated_copies(context)]
    holding = [mirror for mirror in mirrors if mirror.holds]
    unknown = [mirror for mirror in mirrors if mirror.holds is None]
    said = [*_of_mirrors(mirrors, change), *(sentence for one in points for sentence in one.sentences())]
    held = bool(holding) or any(one.before or one.shown for one in points)
    perhaps = held or bool(unknown) or any(one.between or one.one.unknown for one in points)
    if not perhaps:
        said.append("no copy is known that holds the state before it")
    return FormerState(
        sentences=tuple(said),
        held=held,
        perhaps=perhaps,
        holding=tuple(str(mirror.copy.address) for mirror in holding),
    )


def taken(change: MassChange) -> Tally:
    """Return how much of the state before it took: what went, and what was rewritten where that was much."""
    turnover, found = change.turnover, Tally()
    if change.signs != (Sign.REWRITTEN,):
        found += Tally(files=turnover.lost.files, bytes=turnover.gone.bytes + turnover.emptied.bytes)
    return found + turnover.rewritten if Sign.REWRITTEN in change.signs else found


@dataclass(frozen=True, kw_only=True)
class _Mirror:
    copy: JudgedCopy
    context: DatasetContext

    @property
    def holds(self) -> bool | None:
        """Whether it holds any of the state before (None: that was not seen in this audit)."""
        found, seen = self.copy.comparison, self.copy.evidence.tree_at
        if found is None or found.former is None or seen is None or self.copy.ground is Ground.IDENTITY:
            return None
        if seen < self.context.started:
            return None
        if found.former.files:
            return True
        return None if found.former_unclear.files else False  # it may be either state: neither is claimed

    @property
    def amount(self) -> str:
        """How much of it."""
        found = self.copy.comparison
        return amount(found.former) if found is not None and found.former is not None else ""


def _of_mirrors(mirrors: Sequence[_Mirror], change: MassChange) -> Iterator[str]:
    whole = amount(taken(change))
    for mirror in mirrors:
        if mirror.holds:
            yield f"{mirror.copy.address} still holds {mirror.amount} of {whole} as before: stop its next run"
    gone = [str(mirror.copy.address) for mirror in mirrors if mirror.holds is False]
    if gone:
        yield f"{joined(gone)} {'has' if len(gone) == 1 else 'have'} taken it over"
    unknown = [str(mirror.copy.address) for mirror in mirrors if mirror.holds is None]
    if unknown:
        yield f"whether {joined(unknown)} still {'holds' if len(unknown) == 1 else 'hold'} it is not known"


@dataclass(frozen=True, kw_only=True)
class _Points:
    one: Dated
    change: MassChange
    context: DatasetContext

    @property
    def before(self) -> tuple[RecoveryPoint, ...]:
        """The points of a time at which the state before was still seen (none where the clock was set back after)."""
        seen_before = self.change.turnover.before_at
        if seen_before > self.change.seen_at:
            return ()
        return tuple(point for point in self.one.points if point.latest <= seen_before)

    @property
    def between(self) -> tuple[RecoveryPoint, ...]:
        """The points of which their date does not say on which side of the change they are."""
        before = self.before
        return tuple(point for point in self.one.points if point not in before and point.earliest < self.change.seen_at)

    @property
    def shown(self) -> bool:
        """Whether the point that was compared shows that it holds some of it."""
        found = self.one.copy.comparison
        return found is not None and found.former is not None and found.former.files > 0 and not self.one.unknown

    def sentences(self) -> Iterator[str]:
        """Say which of its points hold the state before."""
        address = self.one.copy.address
        if self.one.unknown:
            yield f"not known of {address}: {self.one.unknown}"
        elif self.before:
            newest = self.before[-1]
            dated = f"the newest “{visible(newest.name)}” of {when(newest.latest, self.context.zone)}"
            count = so_many(len(self.before), "recovery point")
            yield f"{address} has {count} from before it, by their dates, {dated}"
        elif self.shown:
            yield f"the point of {address} that was compared holds some of the state before"
        elif self.between:
            yield f"whether “{visible(self.between[-1].name)}” of {address} is from before it is not known"
        else:
            yield f"{address} has no recovery point from before it"
