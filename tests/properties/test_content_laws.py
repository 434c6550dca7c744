"""The laws of what was read: less evidence of content, or worse, never turns anything into conforming."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.model import Proof
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Harm, Sampled, Spoilt, Verified
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.content_shown import statement_of
from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.builders.cases import a_gap
from tests.builders.spoiling import Step, all_well, audited, steps
from tests.builders.station import POLICY, STARTED

VERIFY = Verify(confidence=Fraction(95, 100), tolerable=Fraction(1, 100), every=timedelta(days=30))
SAMPLE = Sampled(
    began=STARTED - timedelta(days=1), ended=STARTED, population=Tally(files=1_000, bytes=1), asked=258, same=258
)
SPOILT = Spoilt(path=b"x", harm=Harm.DECAYED, size=1, mtime_ns=0, digest=b"a", wanted=b"b", at=STARTED)


def read() -> DatasetCase:
    """All is well, and the content of every copy was read."""
    case = all_well()
    policy = replace(POLICY, verify=VERIFY, proof=Proof.SAMPLED)
    return replace(
        case, policy=policy, copies=tuple(replace(copy, verified=Verified(last=SAMPLE)) for copy in case.copies)
    )


def _sample(change: Callable[[Sampled], Sampled]) -> Callable[[Verified], Verified | None]:
    return lambda known: known if known.last is None else replace(known, last=change(known.last))


WORSE: dict[str, Callable[[Verified], Verified | None]] = {
    "forgotten": lambda _: None,
    "sample forgotten": lambda known: replace(known, last=None),
    "fewer read": _sample(lambda last: replace(last, same=max(0, last.same - 1))),
    "not readable": _sample(lambda last: replace(last, same=max(0, last.same - 1), not_shown=last.not_shown + 1)),
    "differing": _sample(lambda last: replace(last, same=max(0, last.same - 1), differing=last.differing + 1)),
    "written to since": _sample(lambda last: replace(last, same=max(0, last.same - 1), fallen=last.fallen + 1)),
    "longer ago": _sample(lambda last: replace(last, began=last.began - timedelta(days=20))),
    "spoilt": lambda known: replace(known, spoilt=(SPOILT,), spoilt_files=known.spoilt_files + 1),
    "refused": lambda known: replace(known, why_not=a_gap()),
}


@st.composite
def worse(draw: st.DrawFn) -> Step:
    """Worse evidence of one copy's content, or less."""
    name, number = draw(st.sampled_from(sorted(WORSE))), draw(st.integers(0, 3))

    def apply(case: DatasetCase) -> DatasetCase:
        return replace(case, copies=tuple(_one(copy) if at == number else copy for at, copy in enumerate(case.copies)))

    def _one(copy: CopyEvidence) -> CopyEvidence:
        return copy if copy.verified is None else replace(copy, verified=WORSE[name](copy.verified))

    return Step(name, f"copy {number}", apply)


def test_the_case_from_which_the_laws_start_conforms() -> None:
    assert audited(read()).conclusion is Conclusion.CONFORMING


@settings(max_examples=250, deadline=None)
@given(st.lists(st.one_of(worse(), worse(), steps()), min_size=1, max_size=6))
def test_less_or_worse_evidence_of_content_never_turns_a_conclusion_into_conforming(changes: list[Step]) -> None:
    case = read()
    conclusion = audited(case).datasets[0].conclusion
    for change in changes:
        copies = len(case.copies)
        case = change(case)
        if len(case.copies) != copies:
            return  # a copy that is asked for no more
        dataset = audited(case).datasets[0]
        if conclusion is not Conclusion.CONFORMING:
            assert dataset.conclusion is not Conclusion.CONFORMING
        conclusion = dataset.conclusion
        for copy in dataset.copies:
            known = copy.evidence.verified
            if known is None or known.last is None:
                assert copy.proof < Proof.SAMPLED
            if known is not None and known.spoilt_files:
                assert copy.standing in {Standing.DAMAGED, Standing.UNVERIFIED}


@given(st.integers(1, 5_000), st.data())
def test_a_statement_never_says_less_for_a_file_that_was_not_read_or_differs(
    population: int, data: st.DataObject
) -> None:
    same = data.draw(st.integers(1, population))
    wanting = data.draw(st.integers(0, population - same))
    sample = replace(SAMPLE, population=Tally(files=population), same=same, not_shown=wanting)
    base = statement_of(sample, VERIFY)
    fewer = statement_of(replace(sample, same=same - 1), VERIFY)
    failing = statement_of(replace(sample, same=same - 1, not_shown=wanting + 1), VERIFY)

    assert base is not None
    assert base.at_most >= wanting
    assert base.at_most <= population - same
    for worse_one in (fewer, failing):
        assert worse_one is None or worse_one.at_most >= base.at_most
