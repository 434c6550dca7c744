"""Transitions against a naive model: each finding's whole past, looked at afresh every time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.judgement.verdict import Answer, JudgedEstate
from coverage_audit.ledger.record import AuditRecord, Transition, TransitionKind
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged, night
from tests.parts.databases import NewLedger

OPEN = (Answer.NONCONFORMITY, Answer.UNVERIFIED)
SETS = ("field-recordings", "survey-sheets")
RULES = ("copies", "age")


@dataclass(frozen=True)
class Night:
    """One audit: the answers by finding (None: not asked), and which datasets it is about (None: all)."""

    answers: dict[str, Answer | None]
    only: str | None


ids = [f"{rule}:{name}" for name in SETS for rule in RULES] + ["clock:estate"]
answers = st.fixed_dictionaries({name: st.none() | st.sampled_from(Answer) for name in ids})
nights = st.lists(st.builds(Night, answers, st.none() | st.sampled_from(SETS)), max_size=8)


def asked(night_: Night, name: str) -> bool:
    """Whether an audit says something of a finding, be it only by not having it any more."""
    if night_.only is None:
        return True
    return name.endswith(night_.only) or (name == "clock:estate" and night_.answers[name] is not None)


def judged(number: int, night_: Night) -> JudgedEstate:
    datasets = {
        dataset: [
            a_finding(f"{rule}:{dataset}", answer)
            for rule in RULES
            if (answer := night_.answers[f"{rule}:{dataset}"]) is not None
        ]
        for dataset in SETS
        if night_.only in {None, dataset}
    }
    clock = night_.answers["clock:estate"]
    own = [] if clock is None else [a_finding("clock:estate", clock)]
    return a_judged(night(number), datasets, estate_findings=own, whole=night_.only is None)


def past(history: list[Night], name: str) -> list[tuple[int, Answer | None]]:
    return [(number, one.answers[name]) for number, one in enumerate(history) if asked(one, name)]


def model_since(history: list[Night], name: str) -> datetime | None:
    """The first of the unbroken run of open answers at the end of a finding's past."""
    since = None
    for number, answer in past(history, name):
        since = (since if since is not None else night(number)) if answer in OPEN else None
    return since


def model_kind(history: list[Night], name: str) -> TransitionKind | None:
    """How the last two answers of a finding differ, if the last is tonight's."""
    told = past(history, name)
    if not told or told[-1][0] != len(history) - 1:
        return None
    now = told[-1][1]
    before = told[-2][1] if len(told) > 1 else None
    kinds = {
        (False, True): TransitionKind.BEGUN,
        (True, False): TransitionKind.ENDED,
        (False, False): None,
    }
    if (was_open := before in OPEN) and now in OPEN:
        if before is now:
            return None
        return TransitionKind.WORSENED if now is Answer.NONCONFORMITY else TransitionKind.EASED
    return kinds[was_open, now in OPEN]


def check(history: list[Night], told: tuple[Transition, ...], since: dict[str, datetime]) -> None:
    assert {change.finding.id: change.kind for change in told} == {
        name: kind for name in ids if (kind := model_kind(history, name)) is not None
    }
    assert since == {name: at for name in ids if (at := model_since(history, name)) is not None}
    for change in told:
        began = model_since(history, change.finding.id) or model_since(history[:-1], change.finding.id)
        assert change.since == began
        assert change.answer == history[-1].answers[change.finding.id]


@settings(max_examples=40, deadline=None)
@given(nights)
def test_transitions_equal_those_of_a_naive_model(new_ledger: NewLedger, history: list[Night]) -> None:
    with new_ledger() as (ledger, _):
        open_since: dict[str, datetime] = {}
        for number, one in enumerate(history):
            record = AuditRecord(judged=judged(number, one), estate_text=ESTATE_TEXT)
            told = ledger.record(record).transitions
            before, open_since = open_since, dict(ledger.open_since())
            check(history[: number + 1], told, open_since)
            for name in before.keys() & open_since.keys():
                if name not in {change.finding.id for change in told if change.kind is TransitionKind.BEGUN}:
                    assert before[name] == open_since[name]
