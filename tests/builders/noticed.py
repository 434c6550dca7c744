"""Changes as notices tell them."""

from __future__ import annotations

from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.ledger.record import Transition, TransitionKind
from tests.builders.recorded import a_finding, a_judged, night


def a_change(
    name: str = "copies:field-recordings",
    kind: TransitionKind = TransitionKind.BEGUN,
    answer: Answer | None = Answer.NONCONFORMITY,
    dataset: str | None = "field-recordings",
    number: int = 1,
    **words: str,
) -> Transition:
    """A finding's change, seen in the audit of the third night and open since the second."""
    return Transition(
        number=number,
        kind=kind,
        finding=a_finding(name, answer or Answer.NONCONFORMITY, **words),
        dataset=None if dataset is None else DatasetId(dataset),
        answer=answer,
        since=night(2),
        at=night(3),
    )


def a_recovery(name: str = "offsite:camera-trap", **words: str) -> Transition:
    """A finding that ended because what it asks for is observed again."""
    return a_change(name, TransitionKind.ENDED, Answer.CONFORMITY, name.split(":")[1], 9, **words)


def failing_estate() -> JudgedEstate:
    """The audit of the third night: two findings on the recordings, one unverified on the sheets."""
    return a_judged(
        night(3),
        {
            "field-recordings": [a_finding(), a_finding("media:field-recordings", message="all copies are on hdd")],
            "survey-sheets": [a_finding("age:survey-sheets", Answer.UNVERIFIED, message="heron did not answer")],
        },
    )
