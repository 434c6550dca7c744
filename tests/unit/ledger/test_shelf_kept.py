"""What the ledger keeps of shelf drives: the last tree of each place, and since when one is plugged in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.errors import LedgerError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, PinnedFact, VolumeFacts
from coverage_audit.evidence.shelf import Attached, ShelfTree
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import AuditRecord
from tests.builders.manifests import a_manifest, a_row
from tests.builders.recorded import ESTATE_TEXT, FIRST, a_box_answer, a_judged, night

DRIVE = VolumeKey(device=DeviceId("shelf-b"), volume=VolumeId("drive"))
PLACE = Address(volume=DRIVE, path="recordings")
PIN = PinnedFact(name="filesystem_uuid", value="6c2e")


def a_tree(ledger: Ledger, number: int, files: int = 1, place: Address = PLACE) -> ShelfTree:
    """A tree listed on the nth night, with what its drive showed."""
    answer = a_box_answer(place.volume, night(number))
    facts, volume = answer.facts, answer.volumes[0]
    assert isinstance(facts, DeviceFacts)
    assert isinstance(volume, VolumeFacts)
    listed = [a_row(b"take-%d" % one) for one in range(files)]
    manifest = a_manifest(ledger.staging(FIRST), listed, address=place, started=night(number))
    return ShelfTree(address=place, manifest=manifest, at=night(number), how="recorded", device=facts, volume=volume)


def test_a_recorded_tree_comes_back_with_what_its_drive_showed(
    ledger: Ledger, reopen: Callable[[], Ledger], state: Path
) -> None:
    tree = a_tree(ledger, 1)
    ledger.record_shelf([tree], DRIVE, [PIN], night(1))

    with reopen() as again:
        (found,) = again.shelf_trees(DRIVE.device)
        pins = again.pins(DRIVE)

    assert (found.at, found.how, found.device, found.volume) == (tree.at, tree.how, tree.device, tree.volume)
    assert found.manifest.census == tree.manifest.census
    assert found.manifest.file.parent == state / "manifests"
    assert pins == (PIN,)


def test_of_each_place_the_one_recorded_last_counts(ledger: Ledger) -> None:
    other = replace(PLACE, path="herbarium")
    ledger.record_shelf([a_tree(ledger, 1), a_tree(ledger, 1, place=other)], DRIVE, [PIN], night(1))
    ledger.record_shelf([a_tree(ledger, 5, files=3)], DRIVE, [PIN], night(5))

    found = {tree.address: tree for tree in ledger.shelf_trees(DRIVE.device)}

    assert (found[PLACE].at, found[PLACE].manifest.census.files) == (night(5), 3)
    assert found[other].at == night(1)


def test_a_file_that_is_gone_is_passed_over_for_the_older_record(ledger: Ledger) -> None:
    ledger.record_shelf([a_tree(ledger, 1)], DRIVE, [PIN], night(1))
    ledger.record_shelf([a_tree(ledger, 5)], DRIVE, [PIN], night(5))
    (found,) = ledger.shelf_trees(DRIVE.device)
    found.manifest.file.unlink()

    assert ledger.shelf_trees(DRIVE.device)[0].at == night(1)


def test_records_outlive_pruning_for_years(ledger: Ledger) -> None:
    ledger.record_shelf([a_tree(ledger, 1)], DRIVE, [PIN], night(1))

    ledger.prune(FIRST + timedelta(days=1000))

    assert ledger.shelf_trees(DRIVE.device)[0].at == night(1)


def test_a_renamed_drive_keeps_what_was_recorded(ledger: Ledger) -> None:
    ledger.record_shelf([a_tree(ledger, 1)], DRIVE, [PIN], night(1))

    (found,) = ledger.shelf_trees(DeviceId("shelf-d"), (DRIVE.device,))

    assert found.address.volume.device == "shelf-d"


def test_what_cannot_be_recorded_whole_is_not_recorded_at_all(ledger: Ledger) -> None:
    good, bad = a_tree(ledger, 1), a_tree(ledger, 1, place=replace(PLACE, path="herbarium"))
    bad.manifest.file.unlink()

    with pytest.raises(LedgerError):
        ledger.record_shelf([good, bad], DRIVE, [PIN], night(1))

    assert ledger.shelf_trees(DRIVE.device) == ()
    assert ledger.pins(DRIVE) is None


def test_since_when_a_drive_is_plugged_in_is_kept_until_it_is_gone(ledger: Ledger) -> None:
    seen = Attached(volume=DRIVE, host=DeviceId("kestrel"), since=night(1), last=night(1))
    ledger.record(AuditRecord(judged=a_judged(night(1)), estate_text=ESTATE_TEXT, attached=(seen,)))
    later = replace(seen, last=night(2))
    ledger.record(AuditRecord(judged=a_judged(night(2)), estate_text=ESTATE_TEXT, attached=(later,)))
    assert ledger.attachments() == (later,)

    ledger.record(AuditRecord(judged=a_judged(night(3)), estate_text=ESTATE_TEXT, detached=(DRIVE,)))

    assert ledger.attachments() == ()
