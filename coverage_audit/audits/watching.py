"""Watch: what an original, and each mirror, lost and rewrote since its last listing, and what of that stands.

A change of much at once in an original stands until what went is back, or until a person accepts it: by a waiver for
its finding, or by accepting anew what the volume shows. So long the state before it is kept, and no later listing takes
its place. Audits that follow each other closely are held against one listing, so that many small steps are one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Final

from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.turnover import Turned, turn
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.turnover import MassChange, Watched
from coverage_audit.ledger.turnover_record import KeptTurnover, TurnoverRecord
from coverage_audit.reckoning.shrinking import LEARNED, shares, signs, usual

AT_ONCE: Final = timedelta(hours=20)
"""What changes within this time changes at once, in however many audits: less than a day, so that nights stay apart."""

AT_MOST: Final = timedelta(hours=44)
"""A listing that is older than this gives way to the last one, however young that is."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """What is watched: a dataset's original (`stands`: what changes there at once stands) or a mirror of it.

    `share` is the policy's (None: it says none), `leave_out` the patterns by which entries do not count.
    """

    dataset: DatasetId
    address: Address
    leave_out: tuple[str, ...]
    share: float | None
    lineage: Lineage
    stands: bool


@dataclass(frozen=True, kw_only=True)
class Watching:
    """What was found out of one place, what the ledger is to keep of it, and the rows of the change that stands."""

    watched: Watched
    record: TurnoverRecord | None = None
    rows: Path | None = None


def watch(place: Place, tree: Manifest | None, parts: Parts, *, started: datetime, trusted: bool = True) -> Watching:
    """Hold a place's tree against what audits before the one begun at `started` saw of it.

    `tree` None: it was not seen. One on a volume that is not `trusted` is compared, and nothing of it is kept.
    """
    kept = parts.ledger.turnovers.last(place.dataset, place.address, place.lineage)
    standing = kept.standing if kept else None
    if tree is None:
        rows = kept.rows if kept else None
        return Watching(watched=Watched(why_not="it was not seen in this audit", standing=standing), rows=rows)
    return _Watch(place=place, tree=tree, parts=parts, kept=kept, started=started).watching(trusted=trusted)


def settled(watching: Watching) -> Watching:
    """Return what the ledger is to keep where a person accepted the change that stands: it is usual now and then."""
    record, standing = watching.record, watching.watched.standing
    if record is None or standing is None:
        return watching
    accepted = replace(record, standing=None, rows=None, against=None, shares=shares(standing.turnover))
    return replace(watching, record=accepted)


@dataclass(frozen=True, kw_only=True)
class _Watch:
    place: Place
    tree: Manifest
    parts: Parts
    kept: KeptTurnover | None
    started: datetime

    def watching(self, *, trusted: bool) -> Watching:
        """Compare, and say what stands."""
        history = self.kept.history if self.kept else ()
        former = self._former()
        last = None if former is None else self._turned(former)
        change, rows = self._standing(last) if self.place.stands else (None, None)
        watched = Watched(
            last=last.turnover if last else None,
            why_not="" if last else self._why_not(former),
            first=former is None and self.kept is None,
            usual=usual(history),
            known=len(history),
            signs=last.signs if last else (),
            standing=change,
        )
        watching = Watching(watched=watched, rows=rows)
        if trusted:
            return replace(watching, record=self._record(watching, former))
        return replace(watching, rows=self.kept.rows if self.kept else None)  # copies are held against what was before

    def _former(self) -> Manifest | None:
        """Return the listing that this one is held against: the last, or one before it where that is of today."""
        last = self._last()
        before = None if self.kept is None or self.kept.standing is not None else self.kept.against
        if before is not None and self.kept is not None and self.kept.open:
            return before
        if before is None or last is None or not self._within(AT_ONCE, last) or not self._within(AT_MOST, before):
            return last
        return before

    def _last(self) -> Manifest | None:
        """Return the last whole listing of it, or of where it lay before it was moved."""
        lineage, ledger = self.place.lineage, self.parts.ledger
        for place in lineage.of_place(self.place.dataset, self.place.address):
            last = ledger.last_manifest(place, lineage.of_device(place.volume.device), complete=True)
            if last is not None:
                return last
        return None

    def _within(self, span: timedelta, former: Manifest) -> bool:
        return timedelta(0) <= self.tree.origin.started - former.origin.started < span

    def _why_not(self, former: Manifest | None) -> str:
        if former is not None:
            return "it could not be held against the listing before it"
        return "the listing before it cannot be read any more" if self.kept else "it has no whole listing before it"

    def _turned(self, former: Manifest, within: Path | None = None) -> Turned | None:
        history = self.kept.history if self.kept else ()
        judge = partial(signs, declared=self.place.share, usually=usual(history), known=len(history))
        if within is not None:  # what was learned since does not end what stood before
            judge = partial(signs, declared=self.place.share, known=LEARNED)
        leave_out, work = self.place.leave_out, self.parts.work
        try:
            return turn(former, self.tree, leave_out=leave_out, judge=judge, work=work, within=within)
        except (ComparisonError, EvidenceError):
            return None

    def _standing(self, last: Turned | None) -> tuple[MassChange | None, Path | None]:
        """Return the change that stands after this audit, and the rows of what it took."""
        before, rows = self._still_stands()
        if last is None or not last.signs:
            return before, rows
        if before is None or before.accepted is not None:
            return self._begun(last), last.rows
        return self._grown(before, rows)

    def _still_stands(self) -> tuple[MassChange | None, Path | None]:
        """Hold the tree against the state before the change that stood: what is back is none of it any more."""
        kept = self.kept
        if kept is None or kept.standing is None:
            return None, None
        change = replace(kept.standing, accepted=kept.accepted)
        found = self._turned(kept.against, kept.rows) if kept.against is not None and kept.rows is not None else None
        if found is None:
            return change, kept.rows
        if not found.signs:
            return (None, None) if change.accepted is None else (change, kept.rows)
        return replace(change, turnover=found.turnover, signs=found.signs, readable=True), kept.rows

    def _begun(self, last: Turned) -> MassChange:
        seen_at = self.tree.origin.started
        return MassChange(since=self.started, seen_at=seen_at, turnover=last.turnover, signs=last.signs)

    def _grown(self, before: MassChange, rows: Path | None) -> tuple[MassChange, Path | None]:
        """Return the change that stood, with what changed at once besides: all of it from the one state before."""
        against = self.kept.against if self.kept else None
        whole = None if against is None else self._turned(against)
        if whole is None or not whole.signs:
            return replace(before, grown=self.started, readable=False), rows
        grown = replace(before, grown=self.started, turnover=whole.turnover, signs=whole.signs, readable=True)
        return grown, whole.rows

    def _record(self, watching: Watching, former: Manifest | None) -> TurnoverRecord:
        """Return what the next audit must know."""
        watched, standing = watching.watched, watching.watched.standing
        counts = watched.last is not None and not (self.place.stands and watched.signs)
        record = TurnoverRecord(
            dataset=self.place.dataset,
            place=self.place.address,
            at=self.tree.origin.started,
            against=former.file if former is not None and self._within(AT_MOST, former) else None,
            shares=shares(watched.last) if watched.last is not None and counts else None,
        )
        if former is not None and watched.last is None:  # the auditor's own machine failed: the next audit tries again
            record = replace(record, against=former.file, open=True)
        if standing is None:
            return record
        if standing.accepted is not None:
            return replace(record, against=None, shares=shares(standing.turnover))
        began = former if standing.since == self.started else None
        against = began or (self.kept.against if self.kept else None)
        return replace(record, against=against.file if against else None, standing=standing, rows=watching.rows)
