from __future__ import annotations

from collections.abc import Callable

from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord, TransitionKind
from tests.builders.recorded import ESTATE_TEXT, KESTREL, a_box_answer, a_finding, a_judged, night


def test_a_finding_keeps_its_beginning_over_audits_and_over_closing(
    ledger: Ledger, reopen: Callable[[], Ledger]
) -> None:
    for number, answer in enumerate([Answer.UNVERIFIED, Answer.NONCONFORMITY, Answer.UNVERIFIED]):
        judged = a_judged(night(number), {"field-recordings": [a_finding(answer=answer)]})
        ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))
    with reopen() as again:
        stored = again.last_finding("copies:field-recordings")
        assert stored is not None
        assert stored.since == night(0) == again.since("copies:field-recordings")
        assert stored.at == night(2)
        assert stored.conclusion is Conclusion.UNVERIFIED
        assert [one.kind for one in again.untold("household", night(0))] == [
            TransitionKind.BEGUN,
            TransitionKind.WORSENED,
            TransitionKind.EASED,
        ]


def test_what_a_device_showed_comes_back_as_it_was(ledger: Ledger) -> None:
    answer = a_box_answer(capacity=8 * 10**12, free=10**12)
    ledger.record(AuditRecord(judged=a_judged(), estate_text=ESTATE_TEXT, answers=(answer,)))
    assert ledger.last_answer_facts(KESTREL.device) == (answer.facts, answer.volumes)
