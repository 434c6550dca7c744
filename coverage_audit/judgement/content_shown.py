"""What a sample of a copy's content shows: the statement it allows, and why that is not what is asked for."""

from __future__ import annotations

from datetime import datetime, timedelta
from fractions import Fraction
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.model import Copy, Policy, Proof
from coverage_audit.evidence.verified import Sampled, Verified, WholeReading
from coverage_audit.judgement.wording import age, day, duration, files, when
from coverage_audit.reckoning.sampling import Statement, state

USUAL: Final = Verify(confidence=Fraction(95, 100), tolerable=Fraction(1, 100), every=timedelta(days=30))
"""What is meant where content is to be read and the policy has no `verify`."""

_MANY: Final = 1_000
"""With so many that differ an exact bound says no more than that all that was not read may differ."""


def terms_of(copy: Copy, policy: Policy) -> Verify | None:
    """Return what must be shown of a copy's content (None: nothing is asked)."""
    asked = copy.proof if copy.proof is not None else policy.proof
    return policy.verify or (USUAL if asked >= Proof.SAMPLED else None)


def statement_of(sample: Sampled, terms: Verify) -> Statement | None:
    """Return what a sample shows (None: it has no file). What was not read as it is now counts as differing."""
    wanting = sample.wanting
    population = max(sample.population.files, sample.sampled)
    if not sample.sampled:
        return None
    if wanting > _MANY:
        return Statement(
            population=population,
            sampled=sample.sampled,
            differing=wanting,
            confidence=terms.confidence,
            at_most=population - sample.same,
        )
    return state(population, sample.sampled, wanting, terms.confidence)


def is_overdue(sample: Sampled, terms: Verify, now: datetime) -> bool:
    """Whether a reading of it may be older than is asked; one that bears a time to come is no evidence."""
    return sample.began > now or now - sample.began > terms.every


def why_not_shown(verified: Verified | None, terms: Verify, now: datetime, zone: ZoneInfo) -> str | None:
    """Say why a copy's content is not shown to be right as far as is asked (None: it is)."""
    if verified is None or verified.last is None:
        return f"its content was not read yet{_so_far(verified)}"
    last = verified.last
    statement = statement_of(last, terms)
    if statement is None:
        return "no file of it could be drawn to be read"
    if is_overdue(last, terms, now):
        since = f"{when(last.began, zone)}, {age(last.began, now)}"
        return f"its content was last read {since}, and a sample every {duration(terms.every)} is asked for"
    if not statement.fewer_than(terms.tolerable):
        return f"{in_words(statement, last)}; fewer than {share(terms.tolerable)} is asked for{_fallen(last)}"
    unread = _unreadable(verified.whole, last, terms)
    if unread:
        few = f"fewer than {share(terms.tolerable)} is asked for, whatever the last sample happened to meet"
        return f"where all of it was to be read, {files(unread)} could not be; {few}"
    return None


def _unreadable(whole: WholeReading | None, last: Sampled, terms: Verify) -> int:
    """Return how many files could not be read when all were, if that is no tolerable share and no sample ended later.

    A sample may happen to miss them all: what it says holds of files of which nothing is known, and of these it is.
    """
    if whole is None or (whole.ended is not None and last.ended is not None and whole.ended < last.ended):
        return 0
    population = whole.same.files + whole.differing + whole.not_shown + whole.left.files
    return whole.not_shown if whole.not_shown >= terms.tolerable * population else 0


def in_words(statement: Statement, sample: Sampled, tolerable: Fraction | None = None) -> str:
    """Say a statement: that fewer than the share `tolerable` differ, where it says so, else how many may."""
    of = f"these {files(statement.population)}"
    sure = f"with {share(statement.confidence)} confidence"
    if statement.population == statement.sampled and not (sample.not_shown or sample.fallen):
        return f"of {of}, all of them read, {'none differs' if not sample.differing else f'{sample.differing} differ'}"
    if tolerable is not None and statement.fewer_than(tolerable):
        return f"{sure} fewer than {share(tolerable)} of {of} differ"
    bound = Fraction(statement.at_most, statement.population)
    return f"{sure} at most {statement.at_most} of {of} ({float(100 * bound):.2g} %) differ"


def in_short(verified: Verified | None, terms: Verify | None, now: datetime, zone: ZoneInfo) -> str:
    """Say in a few words what is known of a copy's content (empty: nothing, and nothing is asked)."""
    if verified is not None and verified.spoilt_files:
        return f"{files(verified.spoilt_files)} not right"
    last = verified.last if verified is not None else None
    if last is None:
        return "" if terms is None else "not read yet"
    terms = terms or USUAL
    statement = statement_of(last, terms)
    if statement is None:
        return "not read yet"
    unread = _unreadable(verified.whole, last, terms) if verified is not None else 0
    if unread:
        return f"{files(unread)} could not be read"
    late = ", overdue" if is_overdue(last, terms, now) else ""
    return f"{in_words(statement, last, terms.tolerable)}, read {day(last.began, zone)}{late}"


def share(part: Fraction) -> str:
    """Say a share in per cent."""
    return f"{float(100 * part):g} %"


def _fallen(sample: Sampled) -> str:
    if not sample.fallen:
        return ""
    of = f"{files(sample.fallen)} of its sample"
    return f"; {of} came or were written to since it was read, or could not be held against what is listed now"


def _so_far(verified: Verified | None) -> str:
    if verified is None or verified.running is None:
        return "" if verified is None or verified.why_not is None else f" ({verified.why_not.kind})"
    return f": of its sample {verified.running.sampled} of {files(verified.running.asked)} are read so far"
