from __future__ import annotations

from dataclasses import replace

from coverage_audit.estate.changes import ChangeKind, Detail, EstateChange
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.judgement.verdict import Answer
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord, Recorded, TransitionKind
from tests.builders.kept import a_compared, a_seen_manifest
from tests.builders.nights import one_night, recorded
from tests.builders.recorded import COPY, ESTATE_TEXT, HERON, RECORDINGS, a_finding, a_judged, night

BITTERN = DeviceId("bittern")
TAPES = DatasetId("tapes")
OLD, NEW = PinnedFact(name="filesystem UUID", value="6c2e"), PinnedFact(name="filesystem UUID", value="77aa")
TO_TAPES = Lineage(datasets=((TAPES, RECORDINGS),))


def found(ledger: Ledger, number: int, name: str, lineage: Lineage, answer: Answer = Answer.NONCONFORMITY) -> Recorded:
    """Record a night on which the dataset of the finding's subject had this finding."""
    dataset = name.partition(":")[2].partition("@")[0]
    judged = a_judged(night(number), datasets={dataset: [a_finding(name, answer)]})
    return ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT, lineage=lineage))


def test_a_finding_goes_on_when_its_dataset_is_renamed_and_nobody_is_told_of_an_end(ledger: Ledger) -> None:
    found(ledger, 0, "copies:field-recordings", Lineage())
    after = found(ledger, 3, "copies:tapes", TO_TAPES)
    assert after.transitions == ()
    assert after.since == {"copies:tapes": night(0)}
    assert ledger.open_since() == {"copies:tapes": night(0)}
    former = ledger.last_finding("copies:field-recordings")
    assert former is not None
    assert (former.current, former.since) == (False, None)


def test_a_finding_at_a_place_goes_on_when_device_dataset_and_place_change_at_once(ledger: Ledger) -> None:
    found(ledger, 0, "age:field-recordings@heron:pool/mirror/recordings", Lineage())
    moved = Address(volume=VolumeKey(device=BITTERN, volume=HERON.volume), path="new place")
    lineage = Lineage(
        devices=((BITTERN, HERON.device),), datasets=((TAPES, RECORDINGS),), moved={(TAPES, moved): (COPY,)}
    )
    after = found(ledger, 1, "age:tapes@bittern:pool/new%20place", lineage)
    assert after.transitions == ()
    assert after.since == {"age:tapes@bittern:pool/new%20place": night(0)}


def test_a_rename_that_is_not_declared_ends_a_finding_and_begins_another(ledger: Ledger) -> None:
    found(ledger, 0, "copies:field-recordings", Lineage())
    after = found(ledger, 1, "copies:tapes", Lineage())
    assert {one.kind for one in after.transitions} == {TransitionKind.BEGUN, TransitionKind.ENDED}


def test_a_finding_that_worsened_over_a_rename_began_when_it_began(ledger: Ledger) -> None:
    found(ledger, 0, "copies:field-recordings", Lineage(), Answer.UNVERIFIED)
    (change,) = found(ledger, 1, "copies:tapes", TO_TAPES).transitions
    assert (change.kind, change.since) == (TransitionKind.WORSENED, night(0))


def test_of_two_that_become_one_the_finding_that_began_first_goes_on(ledger: Ledger) -> None:
    found(ledger, 0, "copies:field-recordings", Lineage())
    both = {name: [a_finding(f"copies:{name}")] for name in ("field-recordings", "tapes")}
    ledger.record(AuditRecord(judged=a_judged(night(1), datasets=both), estate_text=ESTATE_TEXT))
    after = found(ledger, 2, "copies:tapes", TO_TAPES)
    assert after.since == {"copies:tapes": night(0)}
    assert after.transitions == ()


def test_what_a_new_address_still_has_to_be_told_is_told_after_a_rename(ledger: Ledger) -> None:
    found(ledger, 0, "copies:field-recordings", Lineage())
    found(ledger, 1, "copies:tapes", TO_TAPES)
    assert [one.kind for one in ledger.outbox.untold("warden", night(1))] == [TransitionKind.BEGUN]


def test_the_estates_own_findings_follow_a_devices_name(ledger: Ledger) -> None:
    told = list[Recorded]()
    for device, lineage in (("heron", Lineage()), ("bittern", Lineage(devices=((BITTERN, HERON.device),)))):
        findings = [a_finding(f"clocks:{device}"), a_finding(f"other-volumes:{device}:pool")]
        at = night(0 if device == "heron" else 1)
        judged = a_judged(at, estate_findings=findings)
        told.append(ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT, lineage=lineage)))
    after = told[1]
    assert after.transitions == ()
    assert set(after.since.values()) == {night(0)}


def test_the_pair_of_a_renamed_dataset_and_a_moved_copy_keeps_its_history(ledger: Ledger) -> None:
    one_night(ledger, 0)
    moved = replace(COPY, path="elsewhere")
    lineage = Lineage(datasets=((TAPES, RECORDINGS),), moved={(TAPES, moved): (COPY,)})
    known = ledger.earlier(TAPES, moved, lineage)
    assert known is not None
    assert known.first_at == night(0)
    assert ledger.earlier(TAPES, moved) is None
    assert ledger.earlier(TAPES, moved, TO_TAPES) is None, (
        "another place is another copy until it is said to be the same"
    )


def test_the_present_name_goes_on_where_one_audit_compared_a_pair_under_both(ledger: Ledger) -> None:
    staging = ledger.staging(night(0))
    seen, held = a_seen_manifest(staging, night(0)), a_seen_manifest(staging, night(0), COPY)
    pairs = []
    for dataset, taken in ((TAPES, 3), (RECORDINGS, 0)):
        compared = a_compared(seen.manifest.file, held.manifest.file, None, night(0), dataset=dataset)
        up = replace(compared.comparison.take_up, gone_unheld=taken)
        pairs.append(replace(compared, comparison=replace(compared.comparison, take_up=up)))
    recorded(ledger, 0, manifests=(seen, held), comparisons=tuple(pairs))
    known = ledger.earlier(TAPES, COPY, TO_TAPES)
    assert known is not None
    assert known.take_up.gone_unheld == 3


def test_pins_are_carried_to_the_new_name_and_stay_when_the_former_one_is_dropped(ledger: Ledger) -> None:
    bittern = VolumeKey(device=BITTERN, volume=HERON.volume)
    recorded(ledger, 0, pins=((HERON, (OLD,)),))
    assert ledger.pins(bittern, (HERON.device,)) == (OLD,)
    recorded(ledger, 1, lineage=Lineage(devices=((BITTERN, HERON.device),)))
    recorded(ledger, 2, lineage=Lineage(devices=((BITTERN, HERON.device),)))
    assert ledger.pins(bittern) == (OLD,)
    assert ledger.pins(HERON) == (OLD,), "no other hardware passes under the former name unasked"


def test_a_swap_says_what_was_changed_for_what_and_who_accepted_it(ledger: Ledger) -> None:
    recorded(ledger, 0, pins=((HERON, (OLD,)),))
    ledger.accept(HERON, (NEW,), night(1), "maria")
    came = EstateChange(kind=ChangeKind.CAME, part="volume", name="heron:spare")
    after = recorded(ledger, 2, changes=(came,))
    swapped = EstateChange(
        kind=ChangeKind.SWAPPED,
        part="volume",
        name="heron:pool",
        details=(Detail(what="filesystem UUID", before="6c2e", now="77aa"),),
        who="maria",
    )
    assert [(event.at, event.change) for event in after.events] == [(night(1), swapped), (night(2), came)]
    assert ledger.estate_events(night(0)) == after.events
    assert ledger.estate_events(night(2)) == ()
    assert [event.change for event in ledger.estate_events(night(1))] == [came]
    assert recorded(ledger, 3).events == ()


def test_a_swap_accepted_while_the_clock_was_behind_is_told_all_the_same(ledger: Ledger) -> None:
    recorded(ledger, 5, pins=((HERON, (OLD,)),))
    ledger.accept(HERON, (NEW,), night(1), "maria")
    assert [event.change.who for event in recorded(ledger, 6).events] == ["maria"]


def test_the_first_audit_changes_nothing(ledger: Ledger) -> None:
    assert ledger.last_estate() is None
    assert recorded(ledger, 0).events == ()
    assert ledger.last_estate() == ESTATE_TEXT


def test_what_was_left_out_comes_back_newest_first_and_under_former_names(ledger: Ledger) -> None:
    few = Tally(files=2, bytes=20)
    for number in range(2):
        staging = ledger.staging(night(number))
        seen, held = a_seen_manifest(staging, night(number)), a_seen_manifest(staging, night(number), COPY)
        compared = a_compared(seen.manifest.file, held.manifest.file, None, night(number))
        left = replace(compared.comparison, left_out=few, left_out_by=(("*.tmp", few), ("\udcff", Tally())))
        recorded(ledger, number, manifests=(seen, held), comparisons=(replace(compared, comparison=left),))
    known = ledger.left_out(TAPES, COPY, TO_TAPES)
    assert [one.at for one in known] == [night(1), night(0)]
    assert known[0].by == (("*.tmp", few), ("\udcff", Tally()))
    assert known[0].whole == Tally(files=7, bytes=700)
