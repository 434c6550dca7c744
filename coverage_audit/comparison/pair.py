"""One pair of trees at one audit: what the last comparison of it says, and what the next one must know of this."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from coverage_audit.comparison.history import Reference
from coverage_audit.comparison.kept import PairFacts, read_facts
from coverage_audit.comparison.means import basis
from coverage_audit.comparison.mode import LEAST_FILES
from coverage_audit.comparison.terms import Terms, terms_of
from coverage_audit.comparison.types import Earlier, Matched
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.evidence.store import seed_id


@dataclass(frozen=True, kw_only=True)
class Pair:
    """One pair, with the constants it is judged by. `facts` are the last comparison's (None: none, or lost)."""

    matched: Matched
    earlier: Earlier | None
    facts: PairFacts | None
    terms: Terms
    now: datetime

    @property
    def first_ns(self) -> int | None:
        """The pair's first comparison: this one, or what the last relation says (None where that was lost)."""
        if self.earlier is None:
            return self.terms.moment
        return self.facts.first_ns if self.facts else None

    @property
    def last_work(self) -> int | None:
        """The copy's newest ctime by the auditor's clock; None where either is not known."""
        newest = self.matched.last_work_ns
        return None if newest is None else self.terms.in_auditor_time(newest, self.terms.copy_offset)

    @property
    def same_scope(self) -> bool:
        """Whether the last comparison left out what this one leaves out, and rested on the same."""
        known, found = self.facts, self.matched
        return known is not None and known.leave_out == found.leave_out and known.basis == basis(found.mode)

    @property
    def reference(self) -> Reference:
        """The original's listing by which it can be told what was held at the last comparison."""
        if self.facts and self.same_scope:
            return Reference(started=self.facts.complete_ns, lost=self.facts.complete_ns is None)
        return Reference(lost=self.earlier is not None)

    @property
    def newest_held(self) -> int | None:
        """An instant by the auditor's clock at which the newest held file was surely not older."""
        arrival = self.matched.newest_same_arrival_ns
        return None if arrival is None else self.terms.in_auditor_time(arrival, self.terms.original_offset)

    def holds_what_came_since(self) -> bool:
        """Whether the copy was written to since the last comparison, and holds a version that is younger."""
        mtime = self.matched.newest_same_mtime_ns
        if self.facts is None or mtime is None or self.last_work is None:
            return False
        version = self.terms.in_auditor_time(mtime, self.terms.original_offset)
        since = self.facts.observed_ns
        return version is not None and since < version <= self.terms.moment and self.last_work > since

    def facts_of_now(self, seed: bytes) -> PairFacts:
        """Return what the next comparison must know of this one."""
        matched, terms = self.matched, self.terms
        complete = terms.started if isinstance(matched.original, CompleteManifest) else None
        if complete is None and self.facts and self.same_scope:
            complete = self.facts.complete_ns
        return PairFacts(
            compared_ns=terms.moment,
            original_ns=terms.started,
            complete_ns=complete,
            copy_ns=to_ns(matched.copy.origin.started),
            observed_ns=max(terms.moment, terms.finished, to_ns(matched.copy.origin.finished)),
            first_ns=self.first_ns,
            shift_ns=terms.shift,
            seed_id=seed_id(seed),
            original=str(matched.original.origin.address),
            copy=str(matched.copy.origin.address),
            leave_out=matched.leave_out,
            basis=basis(matched.mode),
            unproven=matched.unproven.files,
            keeps_times=keeps_times(self.earlier) or _shows_to_keep_times(matched),
        )


def keeps_times(earlier: Earlier | None) -> bool:
    """Whether the copy was seen to keep times, and nobody accepted since that what lies there is another.

    Raises ComparisonError where what is kept of the last comparison is damaged.
    """
    if earlier is None or earlier.relation is None or earlier.accepted:
        return False
    return read_facts(earlier.relation).keeps_times


def _shows_to_keep_times(matched: Matched) -> bool:
    """Whether most files are held by times that are those of the original: enough that no chance made them so."""
    plain = matched.mode.times and not matched.mode.by_size and matched.mode.digest is None
    most = matched.same.files * 2 > matched.total.files and matched.same.files >= LEAST_FILES
    return plain and most and matched.same.bytes > 0


def pair_of(matched: Matched, earlier: Earlier | None, now: datetime, max_age: timedelta, seed: bytes) -> Pair:
    """Join a matching with what is known of earlier audits.

    Raises ComparisonError when the clock went back since the last comparison, and when its relation is missing,
    damaged or of another seed.
    """
    facts = _last_facts(earlier, now, seed)
    return Pair(matched=matched, earlier=earlier, facts=facts, terms=terms_of(matched, now, max_age), now=now)


def _last_facts(earlier: Earlier | None, now: datetime, seed: bytes) -> PairFacts | None:
    if earlier is None:
        return None
    if now < earlier.at:
        raise ComparisonError(
            f"The clock went back: it is {now.isoformat()}, and the last comparison was at {earlier.at.isoformat()}."
        )
    if earlier.relation is None:
        return None
    facts = read_facts(earlier.relation)
    if facts.seed_id != seed_id(seed):
        raise ComparisonError(f"{earlier.relation} was written with another seed: its rows cannot be found again.")
    return facts
