from __future__ import annotations

from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord, TransitionKind
from tests.builders.recorded import ESTATE_TEXT, a_finding, a_judged, night


def a_night(ledger: Ledger, number: int, **answers: Answer) -> None:
    findings = [a_finding(f"{rule}:field-recordings", answer) for rule, answer in answers.items()]
    judged = a_judged(night(number), {"field-recordings": findings})
    ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))


def untold(ledger: Ledger, target: str, number: int) -> list[tuple[str, TransitionKind]]:
    return [(change.finding.rule, change.kind) for change in ledger.outbox.untold(target, night(number))]


def test_what_was_delivered_to_one_target_is_still_news_to_another(ledger: Ledger) -> None:
    a_night(ledger, 0, copies=Answer.NONCONFORMITY)
    ledger.outbox.enqueue("phone", [], night(0), transitions=ledger.outbox.untold("phone", night(0)))
    assert untold(ledger, "phone", 0) == []
    assert untold(ledger, "mail", 0) == [("copies", TransitionKind.BEGUN)]


def test_marking_twice_is_no_error(ledger: Ledger) -> None:
    a_night(ledger, 0, copies=Answer.NONCONFORMITY)
    changes = ledger.outbox.untold("phone", night(0))
    ledger.outbox.enqueue("phone", [], night(0), transitions=[*changes])
    ledger.outbox.enqueue("phone", [], night(1), transitions=[*changes])
    ledger.outbox.enqueue("phone", [], night(1), transitions=[])
    assert untold(ledger, "phone", 1) == []


def test_a_new_target_hears_of_what_is_open_and_not_of_what_is_over(ledger: Ledger) -> None:
    a_night(ledger, 0, copies=Answer.NONCONFORMITY, age=Answer.UNVERIFIED)
    a_night(ledger, 1, copies=Answer.CONFORMITY, age=Answer.NONCONFORMITY)
    assert untold(ledger, "phone", 2) == [("age", TransitionKind.BEGUN), ("age", TransitionKind.WORSENED)]


def test_a_known_target_hears_in_the_end_of_what_began_and_ended_while_it_could_not_be_reached(ledger: Ledger) -> None:
    a_night(ledger, 0, copies=Answer.CONFORMITY)
    assert untold(ledger, "phone", 0) == []
    a_night(ledger, 1, copies=Answer.NONCONFORMITY)
    assert untold(ledger, "phone", 1) == [("copies", TransitionKind.BEGUN)]
    a_night(ledger, 2, copies=Answer.CONFORMITY)
    assert untold(ledger, "phone", 2) == [("copies", TransitionKind.BEGUN), ("copies", TransitionKind.ENDED)]
