"""Waivers in the ledger, on either database: given, replaced, renamed with their finding, ended once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

from coverage_audit.evidence.difference import Exposure
from coverage_audit.judgement.accepting import Fate
from coverage_audit.judgement.verdict import Acceptance, Answer
from coverage_audit.ledger.ledger import Ledger
from tests.builders.nights import recorded
from tests.builders.recorded import a_finding, a_judged, night

NAME = "copies:field-recordings"
UNTIL = night(100)
GIVEN = night(1)


def waive(ledger: Ledger, given: datetime = GIVEN, *, who: str = "Aoife", why: str = "ordered") -> None:
    ledger.waivers.give(NAME, who=who, why=why, given=given, until=UNTIL)


def a_night(ledger: Ledger, number: int = 0, *, fates: tuple[Fate, ...] = ()) -> None:
    finding = replace(a_finding(), degree=2.0, kind="stale")
    judged = a_judged(night(number), {"field-recordings": [finding]})
    exposed = replace(judged.datasets[0], exposure=Exposure(files=3, bytes=5_000, since=None))
    recorded(ledger, number, judged=replace(judged, datasets=(exposed,)), waivers=fates)


def test_a_waiver_keeps_the_finding_as_it_was_and_what_was_at_stake(
    ledger: Ledger, reopen: Callable[[], Ledger]
) -> None:
    a_night(ledger)
    waive(ledger, why="a “drive” \udcff is ordered")
    with reopen() as again:
        (waiver,) = again.waivers.standing()

    assert (waiver.name, waiver.who, waiver.why) == (NAME, "Aoife", "a “drive” \\udcff is ordered")
    assert (waiver.given, waiver.until, waiver.unneeded_since) == (night(1), UNTIL, None)
    assert (waiver.finding.degree, waiver.finding.kind, waiver.exposed) == (2.0, "stale", 5_000)


def test_one_that_is_over_stands_until_an_audit_ends_it_but_is_not_in_force(ledger: Ledger) -> None:
    a_night(ledger)
    waive(ledger)
    assert len(ledger.waivers.in_force(UNTIL - timedelta(seconds=1))) == 1
    assert ledger.waivers.in_force(UNTIL) == ()
    assert len(ledger.waivers.standing()) == 1


def test_another_waiver_for_the_same_finding_ends_the_first(ledger: Ledger) -> None:
    a_night(ledger)
    waive(ledger)
    waive(ledger, night(2), who="Brid")

    assert [waiver.who for waiver in ledger.waivers.standing()] == ["Brid"]
    (gone,) = ledger.waivers.ended_since(night(0))
    assert (gone.waiver.who, gone.ended, gone.why) == ("Aoife", night(2), "another waiver stands in its place")


def test_what_is_waived_anew_is_kept_as_it_would_be_without_the_waiver(ledger: Ledger) -> None:
    acceptance = Acceptance(who="A", why="w", given=night(0), until=UNTIL, answer=Answer.UNVERIFIED)
    finding = replace(a_finding(answer=Answer.WAIVED), acceptance=acceptance)
    recorded(ledger, judged=a_judged(night(0), {"field-recordings": [finding]}))
    stored = ledger.last_finding(NAME)
    assert stored is not None
    assert stored.finding == finding

    waive(ledger)

    (waiver,) = ledger.waivers.standing()
    assert (waiver.finding.answer, waiver.finding.acceptance) == (Answer.UNVERIFIED, None)


def test_an_audit_writes_what_became_of_it(ledger: Ledger) -> None:
    a_night(ledger)
    waive(ledger)
    (waiver,) = ledger.waivers.standing()
    fate = Fate(number=waiver.number, name="copies:tapes", ended=None, unneeded_since=night(2))
    a_night(ledger, 2, fates=(fate,))
    (renamed,) = ledger.waivers.standing()
    assert (renamed.name, renamed.unneeded_since) == ("copies:tapes", night(2))
    assert renamed.finding == waiver.finding

    a_night(ledger, 3, fates=(replace(fate, ended="it is worse now", unneeded_since=None),))
    assert ledger.waivers.standing() == ()
    (gone,) = ledger.waivers.ended_since(night(2))
    assert (gone.waiver.name, gone.why) == ("copies:tapes", "it is worse now")
    assert gone.ended == night(3) + timedelta(minutes=20)


def test_what_its_owner_ended_while_the_audit_ran_stays_as_he_ended_it(ledger: Ledger) -> None:
    a_night(ledger)
    waive(ledger)
    (waiver,) = ledger.waivers.standing()
    assert ledger.waivers.end(NAME, night(1), "ended by Aoife")
    assert not ledger.waivers.end(NAME, night(1), "ended by Aoife")
    a_night(ledger, 2, fates=(Fate(number=waiver.number, name=NAME, ended="late", unneeded_since=None),))

    (gone,) = ledger.waivers.ended_since(night(0))
    assert (gone.ended, gone.why) == (night(1), "ended by Aoife")


def test_a_finding_of_the_estate_has_nothing_at_stake(ledger: Ledger) -> None:
    recorded(ledger, judged=a_judged(night(0), estate_findings=[a_finding("clocks:heron")]))
    ledger.waivers.give("clocks:heron", who="Aoife", why="w", given=night(1), until=UNTIL)
    (waiver,) = ledger.waivers.standing()
    assert waiver.exposed is None
