"""The room of volumes as it is kept for a look ahead."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import IdentityCheck, PinnedFact, PinState, VolumeFacts
from coverage_audit.evidence.room import RoomHistory
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.ledger.ledger import Ledger
from tests.builders.kept import a_seen_manifest
from tests.builders.nights import recorded
from tests.builders.recorded import HERON, KESTREL, a_box_answer, a_judged, night

HOUR = timedelta(hours=1)


def shown(number: int, *, free: int = 100, key: VolumeKey = KESTREL, hours: int = 0, **more: object) -> Answer:
    answer = a_box_answer(key, night(number) + hours * HOUR, capacity=8_000, free=free)
    (facts,) = answer.volumes
    assert isinstance(facts, VolumeFacts)
    return replace(answer, volumes=(replace(facts, **more),))  # type: ignore[arg-type]  # facts


def rooms(ledger: Ledger, lineage: Lineage = NO_LINEAGE, since: int = -400) -> RoomHistory:
    (history,) = ledger.past.rooms([KESTREL], night(since), lineage)
    return history


def test_a_volume_that_was_never_seen_has_no_history(ledger: Ledger) -> None:
    assert rooms(ledger) == RoomHistory(volume=KESTREL, first=None)


def test_of_each_day_the_last_reading_is_kept_with_its_inodes(ledger: Ledger) -> None:
    recorded(ledger, 1, answers=(shown(1, free=90, inodes=500, inodes_free=7), shown(1, key=HERON)))
    recorded(ledger, 2, answers=(shown(2, free=80),))
    recorded(ledger, 2, judged=a_judged(night(2) + 9 * HOUR), answers=(shown(2, free=70, hours=9),))
    found = rooms(ledger)
    assert found.first == night(1)
    assert [(day.at, day.capacity, day.free) for day in found.days] == [
        (night(1), 8_000, 90),
        (night(2) + 9 * HOUR, 8_000, 70),
    ]
    assert [(day.inodes, day.inodes_free) for day in found.days] == [(500, 7), (None, None)]


def test_the_first_sight_is_known_beyond_the_span_that_is_asked_for(ledger: Ledger) -> None:
    for number in range(4):
        recorded(ledger, number, answers=(shown(number),))
    found = rooms(ledger, since=1)
    assert (found.first, [day.at for day in found.days]) == (night(0), [night(2), night(3)])


def test_what_lay_there_in_its_stead_is_no_history_of_it(ledger: Ledger) -> None:
    check = IdentityCheck(volume=KESTREL, state=PinState.CHANGED)
    recorded(ledger, 1, judged=replace(a_judged(night(1)), identities=(check,)), answers=(shown(1),))
    assert rooms(ledger).days == ()


def test_a_drive_that_was_swapped_begins_anew(ledger: Ledger) -> None:
    recorded(ledger, 1, answers=(shown(1, filesystem_uuid="old"),))
    ledger.accept(KESTREL, (PinnedFact(name="filesystem_uuid", value="new"),), night(1) + HOUR, "Aoife")
    recorded(ledger, 2, answers=(shown(2, filesystem_uuid="new"),))
    found = rooms(ledger)
    assert (found.first, [day.at for day in found.days]) == (night(2), [night(2)])


def test_a_box_that_was_set_up_anew_keeps_the_history_of_its_filesystem(ledger: Ledger) -> None:
    recorded(ledger, 1, answers=(shown(1, filesystem_uuid="same"),))
    pins = (PinnedFact(name="filesystem_uuid", value="same"), PinnedFact(name="machine_id", value="other"))
    ledger.accept(KESTREL, pins, night(1) + HOUR, "Aoife")
    recorded(ledger, 2, answers=(shown(2, filesystem_uuid="same"),))
    found = rooms(ledger)
    assert (found.first, len(found.days)) == (night(1), 2)


def test_a_renamed_box_keeps_its_history(ledger: Ledger) -> None:
    bittern = VolumeKey(device=DeviceId("bittern"), volume=VolumeId("main"))
    lineage = Lineage(devices=((bittern.device, KESTREL.device),))
    recorded(ledger, 1, answers=(shown(1),))
    recorded(ledger, 2, answers=(shown(2, key=bittern),), lineage=lineage)
    (found,) = ledger.past.rooms([bittern], night(0), lineage)
    assert (found.volume, found.first, len(found.days)) == (bittern, night(1), 2)


def test_what_a_shelf_drive_showed_when_it_was_recorded_is_part_of_its_history(ledger: Ledger) -> None:
    address = Address(volume=KESTREL, path="recordings")
    (facts,) = shown(3, free=55, inodes=9, inodes_free=4).volumes
    assert isinstance(facts, VolumeFacts)
    manifest = a_seen_manifest(ledger.staging(night(3)), night(3), address).manifest
    tree = ShelfTree(address=address, manifest=manifest, at=night(3), how="recorded", volume=facts)
    ledger.record_shelf((tree,), KESTREL, (), night(3))
    assert [(day.at, day.free, day.inodes_free) for day in rooms(ledger).days] == [(night(3), 55, 4)]
