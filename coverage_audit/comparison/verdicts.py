"""What each difference means at this moment: it counts, is pending, or cannot be told.

Content that digests show to differ is damage, and what is hollow is unverified, however young it is. Where much changed
at once in the original, what the copy holds of the state before is held back, however old that is. Of the rest: over
`max_age` even at the latest it counts; within it even at the earliest it is pending. Between the two the copy's last
sign of work decides for what a first audit met, and nothing else does. Exactly `max_age` old is within it.
"""

from __future__ import annotations

from coverage_audit.comparison.terms import FIRST_AUDIT_GRACE, Terms, tell
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.instants import span_ns

_VERDICT = """
CREATE TEMP MACRO verdict_of(class, blind, held, mark, went_back, earliest, latest, first_compared) AS CASE
    WHEN blind THEN 'unknown'
    WHEN class = 'content' THEN 'content differs'
    WHEN class = 'hollow' THEN 'content unverified'
    WHEN held THEN 'held back'
    WHEN mark = 'changed on its own' THEN mark
    WHEN went_back THEN 'counts'
    WHEN mark = 'content unverified' THEN mark
    WHEN getvariable('no_grace') = 1 OR getvariable('moment') - latest > getvariable('max_age') THEN 'counts'
    WHEN getvariable('moment') - earliest <= getvariable('max_age') THEN 'pending'
    WHEN first_compared = getvariable('first') THEN
        CASE WHEN getvariable('first_grace') = 1 THEN 'pending' ELSE 'counts' END
    ELSE 'between'
END
"""

_JUDGED = """
CREATE TEMP VIEW judged AS
SELECT
    l.*, b.* EXCLUDE (i),
    coalesce(CAST(CASE
        WHEN l.class = 'extra' THEN 'extra'
        ELSE verdict_of(
            l.class, l.blind, l.i IN (SELECT i FROM held_back), b.mark, b.went_back, b.earliest, b.latest,
            b.first_compared)
    END AS row_verdict), 'between') AS verdict,
    b.mark IS NULL AND getvariable('moment') - b.latest <= getvariable('max_age')
        AND coalesce(getvariable('moment') - b.earliest > getvariable('max_age'), true) AS undecided
FROM lack l LEFT JOIN begun b ON l.i = b.i
WHERE l.i NOT IN (SELECT i FROM raced)
"""


def begin_judging(engine: Engine, terms: Terms, *, first_ns: int | None, last_work_ns: int | None) -> None:
    """Make the view `judged` known: every row that differs, with its start and its verdict.

    `first_ns` is the pair's first comparison, `last_work_ns` the copy's last sign of work (both on the auditor's
    clock; None: not known). Grace is given until `end_grace`.
    """
    tell(engine, "first", first_ns)
    tell(engine, "first_grace", int(first_grace(terms, first_ns, last_work_ns)))
    tell(engine, "no_grace", 0)
    engine.execute(_VERDICT)
    engine.execute(_JUDGED)


def first_grace(terms: Terms, first_ns: int | None, last_work_ns: int | None) -> bool:
    """Whether the copy was written to so lately that what a first audit met may still be taken up."""
    if first_ns is None or last_work_ns is None:
        return False
    lately = 0 <= terms.moment - last_work_ns <= terms.max_age
    return lately and terms.moment - first_ns <= span_ns(FIRST_AUDIT_GRACE)


def end_grace(engine: Engine) -> None:
    """From now on nothing is pending: the copy does not keep up."""
    tell(engine, "no_grace", 1)
