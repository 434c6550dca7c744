"""Stage 1 of a comparison: which rows of an original its copy does not hold at this moment, and what it has besides.

Groups of rows that are equal on both sides are skipped unread. The rest is compared in windows of bounded size,
so memory does not grow with the trees. Times are compared plainly first; where nearly all files show a zone
error or a copy that keeps no times, once more in the mode that this asks for.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from uuid import uuid4

from coverage_audit.comparison.blind import BlindPlaces
from coverage_audit.comparison.classify import Rules
from coverage_audit.comparison.differing import FillUp
from coverage_audit.comparison.folded import respelled
from coverage_audit.comparison.leaving_out import LeavingOut
from coverage_audit.comparison.means import plain_mode
from coverage_audit.comparison.mode import Signs, clock_offset_ns, decide
from coverage_audit.comparison.newest import Newest
from coverage_audit.comparison.passing import Pass
from coverage_audit.comparison.reading import Loading, Trees, opened
from coverage_audit.comparison.renamed import under_old_name
from coverage_audit.comparison.respelling import newest_of, other_spelling, unproven_of, written_anew
from coverage_audit.comparison.sighting import sights
from coverage_audit.comparison.totals import Differences, Weak
from coverage_audit.comparison.types import Matched, Workspace
from coverage_audit.comparison.windows import equal_groups, windows
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import Mode, Seen, Tally
from coverage_audit.evidence.engine import Engine, open_engine
from coverage_audit.evidence.instants import odd_after
from coverage_audit.evidence.manifest import Manifest


def match(
    original: Manifest,
    copy: Manifest,
    *,
    leave_out: Sequence[str],
    work: Workspace,
    roots: Sequence[bytes] | None = None,
    keeps_times: bool = False,
) -> Matched:
    """Compare a copy's manifest with its original's and write the raw relation of what differs.

    `leave_out` are gitignore patterns, the dataset's and the copy's together; `roots` the absolute paths that are
    declared on the copy's device, outside which no link of it should lead (None: that is not asked); `keeps_times`
    says that the copy was seen to keep times, so that later ones all at once are no habit of it. Raises
    ComparisonError when memory or disk is short, a pattern makes no sense or the manifests were not made for each
    other; EvidenceError when one of them cannot be read.
    """
    leaving = LeavingOut(leave_out)
    with ExitStack() as stack:
        trees = stack.enter_context(opened(original, copy, work, threads=3))
        engine = stack.enter_context(open_engine(work.memory, work.folder))
        job = _Job(original=original, copy=copy, leaving=leaving, work=work, trees=trees, engine=engine, roots=roots)
        plain = plain_mode(original, copy)
        outcome = job.compared(plain)
        mode = decide(job.signs(outcome), plain, clock_offset_ns(original, copy), keeps_times=keeps_times)
        if mode != plain:
            outcome.relation.unlink()
            outcome = job.compared(mode)
        return job.summed_up(job.respelled(outcome))


@dataclass(frozen=True, kw_only=True)
class _Outcome:
    """One pass that is done: its parts, and the relation that it wrote."""

    mode: Mode
    parts: Pass
    equal: tuple[tuple[int, int], ...]
    relation: Path
    rows: int
    sights: tuple[Seen, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Job:
    """Two open manifests and what to compare them with."""

    original: Manifest
    copy: Manifest
    leaving: LeavingOut
    work: Workspace
    trees: tuple[Trees, ...]
    engine: Engine
    roots: Sequence[bytes] | None = None

    def compared(self, mode: Mode) -> _Outcome:
        """Go over both manifests once. Raises ComparisonError where what was read does not add up to them.

        Under a shift nothing is skipped: what is equal is then an hour off; nor where equal rows prove nothing (files
        without sizes or times, links of which it is not shown where they lead).
        """
        groups = (self.trees[0][0].groups, self.trees[0][1].groups)
        equal = equal_groups(*groups) if mode.full and mode.targets and not mode.shift else ()
        parts = self._parts(mode)
        if self.leaving:
            parts.run_equal([mine for mine, _ in equal])
        else:
            parts.newest.see_groups([mine for mine, _ in equal])
            parts.loading.skip(sum(groups[0][mine].rows for mine, _ in equal))
        relation = self.work.folder / f"differences-{uuid4().hex}.parquet"
        rows = parts.run(windows(*groups, equal, self.work.window), relation)
        if parts.loading.seen != [self.original.census.entries, self.copy.census.entries]:
            raise ComparisonError(
                f"{self.original.file} and {self.copy.file} were not compared row by row to their end."
            )
        return _Outcome(mode=mode, parts=parts, equal=equal, relation=relation, rows=rows)

    def signs(self, outcome: _Outcome) -> Signs:
        """Return what the files of equal size showed. Files in skipped groups are counted only where it matters."""
        signs = outcome.parts.signs
        if not self.leaving and signs.could_decide():
            signs.sized += self.trees[0][0].count_files([mine for mine, _ in outcome.equal])
        return signs

    def respelled(self, outcome: _Outcome) -> _Outcome:
        """Look for what is missing or differs under another spelling of its name."""
        found = outcome.parts.differences
        if not ((found.missing.files or found.folders_missing) and found.surplus):
            return outcome
        hollow = self.copy.census.hollow > 0
        pairs = respelled(self.engine, outcome.relation, outcome.parts.rules, hollow=hollow)
        if not pairs:
            return outcome
        sight = other_spelling(outcome.relation, pairs)
        parts = replace(outcome.parts, differences=Differences())
        parts.weak.unproven += unproven_of(pairs)
        parts.newest.take(*newest_of(pairs, parts.rules))
        relation, rows = written_anew(outcome.relation, pairs, parts.differences)
        return replace(outcome, parts=parts, relation=relation, rows=rows, sights=sight)

    def summed_up(self, outcome: _Outcome) -> Matched:
        """Say what the last pass found."""
        found = outcome.parts.differences
        left_out = outcome.parts.loading.left_out()
        census = self.original.census
        total = Tally(files=census.files - left_out.files, bytes=census.bytes - left_out.bytes)
        lacking = found.missing + found.changed
        both = found.missing.files and found.extra.files
        pair, retimed = (self.original, self.copy), outcome.parts.weak.retimed
        seen = sights(self.engine, pair, outcome.relation, retimed=retimed, roots=self.roots)
        return Matched(
            original=self.original,
            copy=self.copy,
            relation=outcome.relation,
            rows=outcome.rows,
            mode=outcome.mode,
            total=total,
            same=Tally(files=total.files - lacking.files, bytes=total.bytes - lacking.bytes),
            missing=found.missing,
            changed=found.changed,
            extra=found.extra,
            content=found.content,
            hollow=found.hollow,
            unproven=outcome.parts.weak.unproven,
            sights=(*outcome.sights, *seen),
            left_out=left_out,
            left_out_by=outcome.parts.loading.left_out_by(),
            missing_blind=found.missing_blind,
            folders_missing=found.folders_missing,
            under_old_name=under_old_name(self.engine, outcome.relation, outcome.mode) if both else Tally(),
            newest_same_mtime_ns=outcome.parts.newest.mtime_ns,
            newest_same_arrival_ns=outcome.parts.newest.arrival_ns,
            last_work_ns=self.copy.census.newest_ctime_ns,
            blind_original=bool(BlindPlaces(self.original)),
            blind_copy=bool(BlindPlaces(self.copy)),
            leave_out=self.leaving.patterns,
        )

    def _parts(self, mode: Mode) -> Pass:
        rules = Rules(
            mode=mode,
            original_last_ns=odd_after(self.original.origin.started),
            copy_last_ns=odd_after(self.copy.origin.started),
            kinds=("kinds" not in self.original.origin.lacks, "kinds" not in self.copy.origin.lacks),
        )
        return Pass(
            engine=self.engine,
            rules=rules,
            loading=Loading(self.trees[0], self.leaving),
            newest=Newest(self.trees[1][0], rules.original_last_ns),
            fill_up=FillUp(self.trees[2], (self.original, self.copy)),
            signs=Signs(granularity_ns=mode.granularity_ns),
            weak=Weak(),
            differences=Differences(),
            window=self.work.window,
        )
