"""The laws of the judgement where drills are asked for: less evidence, or one fault more, never makes it conform."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.model import Proof
from coverage_audit.evidence.drilling import DrillOutcome, DrillsOfCopy, Outstanding, StillThere
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.verdict import Conclusion
from tests.builders.drills import DAY, a_drill, by_hand, drills
from tests.builders.spoiling import all_well, audited, steps
from tests.builders.station import POLICY

LONG_AGO = a_drill(4000).at
LEFT = (Outstanding(path=b"take-7.wav"),)
DAMAGED, INCOMPLETE = DrillOutcome.DAMAGED, DrillOutcome.INCOMPLETE
KNOWN: dict[str, DrillsOfCopy | None] = {
    "not known": None,
    "never": drills(),
    "lately": drills(a_drill(3)),
    "long ago": drills(a_drill(400)),
    "to come": drills(a_drill(-3)),
    "damaged since": drills(a_drill(9), a_drill(3, DAMAGED)),
    "mended": drills(a_drill(9, DAMAGED), a_drill(3)),
    "not read since": drills(a_drill(9), a_drill(3, INCOMPLETE, unread=1)),
    "by hand": drills(by_hand(3)),
    "one file by name": drills(a_drill(3, drawn=0, drawn_back=0)),
    "rewritten": replace(drills(a_drill(3)), still=StillThere(files=9, of=20)),
}
WORSE: dict[str, Callable[[DrillsOfCopy], DrillsOfCopy | None]] = {
    "the ledger cannot say": lambda _: None,
    "no drill": lambda _: DrillsOfCopy(),
    "older": lambda known: replace(known, restored=known.restored and replace(known.restored, at=LONG_AGO)),
    "damage found": lambda known: replace(
        known, newest=a_drill(0, DAMAGED), damaged=a_drill(0, DAMAGED), outstanding=LEFT, outstanding_files=1
    ),
    "rewritten since": lambda known: replace(known, still=StillThere(files=9, of=20)),
    "not listed now": lambda known: replace(known, still=None),
    "not read": lambda known: replace(
        known, newest=a_drill(0, INCOMPLETE, unread=1), unread=a_drill(0, INCOMPLETE, unread=1)
    ),
}


def worse(number: int, name: str) -> Callable[[DatasetCase], DatasetCase]:
    """One copy's drills, worse than before. What was found damaged does not go away with a step."""

    def apply(case: DatasetCase) -> DatasetCase:
        copies = list(case.copies)
        if number < len(copies):
            known = copies[number].drills
            if known is not None and known.standing_damage is None:
                copies[number] = replace(copies[number], drills=WORSE[name](known))
        return replace(case, copies=tuple(copies))

    return apply


def with_drills(case: DatasetCase, known: list[str]) -> DatasetCase:
    """The case with what is known of each copy's drills."""
    copies = [replace(copy, drills=KNOWN[name]) for copy, name in zip(case.copies, known, strict=True)]
    return replace(case, copies=tuple(copies))


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from([None, 30 * DAY, 180 * DAY, timedelta(days=3650)]),
    st.sampled_from([Proof.LISTED, Proof.SAMPLED, Proof.RESTORED]),
    st.lists(st.sampled_from(sorted(KNOWN)), min_size=4, max_size=4),
    st.lists(
        st.one_of(steps(), st.builds(worse, st.integers(0, 3), st.sampled_from(sorted(WORSE)))), min_size=1, max_size=6
    ),
)
def test_less_known_of_drills_or_worse_never_turns_a_conclusion_into_conforming(
    drill: timedelta | None,
    proof: Proof,
    known: list[str],
    changes: list[Callable[[DatasetCase], DatasetCase]],
) -> None:
    policy = replace(POLICY, copies=2, media=None, offsite=None, drill=drill, proof=proof)
    case = with_drills(replace(all_well(), policy=policy), known)
    conclusion = audited(case).datasets[0].conclusion
    for change in changes:
        copies = len(case.copies)
        case = change(case)
        if len(case.copies) != copies:
            return  # what a drill found damaged in a copy that is declared no more is not asked for any more
        after = audited(case).datasets[0].conclusion
        if conclusion is not Conclusion.CONFORMING:
            assert after is not Conclusion.CONFORMING
        conclusion = after


def test_the_case_that_was_read_back_conforms() -> None:
    """With `proof: restored` the usual sample of the content is asked for, too."""
    policy = replace(POLICY, drill=180 * DAY)
    audit = audited(with_drills(replace(all_well(), policy=policy), ["lately"] * 4))
    assert audit.conclusion is Conclusion.CONFORMING
    assert {copy.proof for copy in audit.datasets[0].copies} == {Proof.RESTORED}
