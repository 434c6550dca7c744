"""From findings to a conclusion, in three-valued logic: unknown is neither."""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.judgement.verdict import Answer, Conclusion, Finding


def conclude(findings: Iterable[Finding]) -> Conclusion:
    """Conclude from the findings: one nonconformity decides, else one unverified.

    No conformity at all is no evidence of any: zero criteria met out of zero conclude nothing. Observations break no
    criterion; a waived finding lets the rest conform.
    """
    answers = {finding.answer for finding in findings}
    if Answer.NONCONFORMITY in answers:
        return Conclusion.NONCONFORMING
    if Answer.UNVERIFIED in answers or Answer.CONFORMITY not in answers:
        return Conclusion.UNVERIFIED
    return Conclusion.CONFORMING


def conclude_estate(datasets: Iterable[Conclusion], findings: Iterable[Finding]) -> Conclusion:
    """Conclude for the estate: the worst of its datasets and of its own findings; without datasets, nothing."""
    found = list(datasets)
    own = {finding.answer for finding in findings}
    if Conclusion.NONCONFORMING in found or Answer.NONCONFORMITY in own:
        return Conclusion.NONCONFORMING
    if not found or Conclusion.UNVERIFIED in found or Answer.UNVERIFIED in own:
        return Conclusion.UNVERIFIED
    return Conclusion.CONFORMING


def waived(findings: Iterable[Finding]) -> int:
    """Count the waived findings."""
    return sum(finding.answer is Answer.WAIVED for finding in findings)


def worst(answers: Iterable[Answer]) -> Answer:
    """Return the worst of some answers to criteria (CONFORMITY where there are none)."""
    found = set(answers)
    for answer in (Answer.NONCONFORMITY, Answer.UNVERIFIED):
        if answer in found:
            return answer
    return Answer.CONFORMITY
