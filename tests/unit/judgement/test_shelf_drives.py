"""A drive that hangs on a box: on the shelf still for a while, after that one of the box's own."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.access import ShelfAccess, SshAccess
from coverage_audit.estate.model import SiteId
from coverage_audit.evidence.shelf import Attached, of_the_drive, without_host
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.counting import Holding, Holdings
from coverage_audit.judgement.independence import Apart, relation, relations
from coverage_audit.judgement.shelf import how_to_record, site_of, stays_attached
from coverage_audit.judgement.verdict import Standing
from tests.builders.cases import a_place, device_facts, volume_facts
from tests.builders.station import KESTREL, LIMITS, SEEN, a_device, a_key, a_volume, an_address, an_estate

DRIVE = a_volume("shelf-b:drive", path="", offline=True)
SHELF = a_device("shelf-b", DRIVE, access=ShelfAccess(), site=SiteId("barn"))
ESTATE = an_estate(KESTREL, SHELF, datasets=())
GRACE = LIMITS.attached_grace


def on_the_shelf(attached_for: timedelta | None = None) -> PlaceEvidence:
    """The drive as it was recorded at kestrel: what it carries is its own, the rest is its host's."""
    hosts = device_facts("kestrel")
    seen = None
    if attached_for is not None:
        seen = Attached(volume=DRIVE.key, host=KESTREL.id, since=SEEN - attached_for, last=SEEN)
    return replace(
        a_place(SHELF),
        device_facts=replace(without_host(hosts), device=SHELF.id),
        volume_facts=volume_facts(DRIVE, filesystem_uuid="5c0d0000-0000-4000-8000-00000000000b"),
        attached=seen,
    )


def holdings(place: PlaceEvidence) -> Holdings:
    places = [a_place(KESTREL), place]
    held = tuple(
        Holding(
            address=an_address(str(one.volume.key)),
            place=one,
            standing=Standing.PROVEN,
            reason="",
            seen_at=SEEN,
            attached=stays_attached(one, ESTATE) is not None,
            site=site_of(one, ESTATE),
            on_host=stays_attached(one, ESTATE),
        )
        for one in places
    )
    return Holdings(places=held, relations=relations(places, ESTATE, {}))


def test_a_drive_is_not_one_machine_with_the_box_at_which_it_was_recorded() -> None:
    found = relation(a_place(KESTREL), on_the_shelf(), ESTATE)

    assert found.apart is Apart.SHOWN, found.reasons


def test_with_its_hosts_facts_it_would_have_been() -> None:
    place = replace(on_the_shelf(), device_facts=replace(device_facts("kestrel"), device=SHELF.id))

    assert relation(a_place(KESTREL), place, ESTATE).apart is Apart.ONE


@pytest.mark.parametrize(
    ("values", "apart"),
    [
        ({"filesystem_uuid": None}, Apart.NOT_SHOWN),
        ({"drives": frozenset()}, Apart.NOT_SHOWN),
        ({"drives": frozenset({"path:pci0000:00/usb1"})}, Apart.NOT_SHOWN),
        ({"filesystem_uuid": "of kestrel"}, Apart.ONE),
        ({"drives": frozenset({"KESTREL-DRIVE"})}, Apart.ONE),
    ],
)
def test_it_is_apart_by_another_filesystem_and_another_serial_and_by_nothing_less(
    values: dict[str, object], apart: Apart
) -> None:
    own = volume_facts(KESTREL.volumes[0], filesystem_uuid="of kestrel", drives=frozenset({"KESTREL-DRIVE"}))
    place = on_the_shelf()
    facts = volume_facts(DRIVE, filesystem_uuid="of the drive", drives=frozenset({"SHELF-DRIVE"}))
    changed = replace(facts, **values)  # type: ignore[arg-type]  # fields named at run time

    found = relation(replace(a_place(KESTREL), volume_facts=own), replace(place, volume_facts=changed), ESTATE)

    assert found.apart is apart, found.reasons


@pytest.mark.parametrize("attached_for", [None, timedelta(0), GRACE])
def test_within_the_grace_it_is_offline_and_where_it_is_declared(attached_for: timedelta | None) -> None:
    held = holdings(on_the_shelf(attached_for))

    assert str(held.offline()) == "1"
    assert str(held.offsite()) == "1"
    assert str(held.copies()) == "2"


def test_after_the_grace_it_is_not_offline_not_elsewhere_and_lost_with_its_host() -> None:
    held = holdings(on_the_shelf(GRACE + timedelta(seconds=1)))

    assert (held.offline().certain, held.offline().assumed) == (0, 0)
    assert (held.offsite().certain, held.offsite().assumed) == (0, 0)
    assert held.copies().assumed == 1


def test_a_host_that_left_the_estate_leaves_the_site_as_declared() -> None:
    place = on_the_shelf(GRACE * 2)

    assert site_of(place, an_estate(SHELF, datasets=())) == SiteId("barn")


def test_only_a_shelf_drive_can_stay_attached() -> None:
    box = replace(on_the_shelf(GRACE * 2), device=replace(SHELF, access=SshAccess(host="shelf.example")))

    assert stays_attached(box, ESTATE) is None


def test_in_a_rehearsal_it_stays_where_it_is_declared() -> None:
    assert stays_attached(on_the_shelf(GRACE * 2), an_estate(KESTREL, SHELF, datasets=(), rehearsal=True)) is None


def test_what_is_left_of_a_volume_is_what_its_drive_carries() -> None:
    left = of_the_drive(volume_facts(DRIVE))

    assert (left.mount_source, left.mount_target, left.fs_root) == (None, None, None)
    assert left.filesystem_uuid is not None
    assert left.drives


def test_a_dated_copys_whole_volume_is_what_one_records() -> None:
    assert how_to_record(an_address("shelf-b:drive/a")) == "coverage-audit manifest PATH --for shelf-b:drive/a"
    assert how_to_record(an_address("shelf-b:drive/{point}/a")) == "coverage-audit manifest PATH --for shelf-b:drive"
    assert a_key("shelf-b:drive") == DRIVE.key
