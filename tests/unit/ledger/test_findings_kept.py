from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import TransitionKind
from tests.builders.nights import recorded
from tests.builders.recorded import (
    a_finding,
    a_judged,
    night,
)


def test_a_finding_keeps_its_beginning_over_audits_and_over_closing(
    ledger: Ledger, reopen: Callable[[], Ledger]
) -> None:
    for number, answer in enumerate([Answer.UNVERIFIED, Answer.NONCONFORMITY, Answer.UNVERIFIED]):
        recorded(ledger, judged=a_judged(night(number), {"field-recordings": [a_finding(answer=answer)]}))
    with reopen() as again:
        stored = again.last_finding("copies:field-recordings")
        assert stored is not None
        assert stored.since == night(0) == again.since("copies:field-recordings")
        assert again.open_since() == {"copies:field-recordings": night(0)}
        assert stored.at == night(2)
        assert stored.conclusion is Conclusion.UNVERIFIED
        assert stored.finding == a_finding(answer=Answer.UNVERIFIED)


def test_a_finding_that_left_the_estate_ends_and_is_still_found(ledger: Ledger) -> None:
    recorded(ledger, judged=a_judged(night(0), {"field-recordings": [a_finding()]}))
    (change,) = recorded(ledger, judged=a_judged(night(1))).transitions
    assert (change.kind, change.answer, change.since) == (TransitionKind.ENDED, None, night(0))
    assert not change.recovered
    stored = ledger.last_finding("copies:field-recordings")
    assert stored is not None
    assert (stored.current, stored.since, stored.at) == (False, None, night(0))
    assert ledger.finding_ids() == ("copies:field-recordings",)


def test_a_finding_that_was_never_answered_is_none(ledger: Ledger) -> None:
    assert ledger.last_finding("copies:nothing") is None
    assert ledger.since("copies:nothing") is None


def test_an_audit_of_some_datasets_touches_only_these(ledger: Ledger) -> None:
    both = {"field-recordings": [a_finding()], "herbarium-scans": [a_finding("copies:herbarium-scans")]}
    recorded(ledger, judged=a_judged(night(0), both, estate_findings=[a_finding("clock:estate")]))
    some = a_judged(night(1), {"field-recordings": []}, whole=False)
    done = recorded(ledger, judged=some)
    assert [change.finding.id for change in done.transitions] == ["copies:field-recordings"]
    assert ledger.open_since() == {"clock:estate": night(0), "copies:herbarium-scans": night(0)}


def test_an_id_answered_twice_in_one_audit_stands_for_the_worse(ledger: Ledger) -> None:
    twice = {
        "field-recordings": [a_finding("mount:heron:pool", Answer.UNVERIFIED)],
        "survey-sheets": [a_finding("mount:heron:pool", Answer.NONCONFORMITY)],
        "camera-trap": [a_finding("mount:heron:pool", Answer.CONFORMITY)],
    }
    (change,) = recorded(ledger, judged=a_judged(night(0), twice)).transitions
    assert change.answer is Answer.NONCONFORMITY


def test_names_that_no_database_takes_are_recorded_all_the_same(ledger: Ledger) -> None:
    name = "age:heron:pool/\udcff\x00\ud800\n'; drop table audits"
    judged = a_judged(night(0), {"x\udcfe\x00": [a_finding(name, message="\udcff\x00")]})
    for number in range(2):
        recorded(ledger, judged=replace(judged, started=night(number)))
    stored = ledger.last_finding(name)
    assert stored is not None
    assert stored.finding.id == name
    assert stored.since == night(0)
    assert len(ledger.finding_ids()) == 1
