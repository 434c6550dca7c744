from __future__ import annotations

from dataclasses import replace
from typing import Any

from coverage_audit.estate.model import Attestation, Device, DeviceId
from coverage_audit.evidence.facts import DeviceFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.scenarios.leaving import leaving_with
from coverage_audit.scenarios.staying import Stay, Stays, stay_of
from tests.builders.apart import with_box, with_volume
from tests.builders.cases import a_gap, a_place, device_facts, volume_facts
from tests.builders.station import HERON, KESTREL, a_device, a_key, a_volume, an_estate

HERE, THERE = a_place(KESTREL), a_place(HERON)


def when_kestrel_leaves(place: PlaceEvidence, *more: Device, here: PlaceEvidence = HERE, **values: Any) -> Stay:
    """Whether a place stays when kestrel leaves whole."""
    devices = {one.id: one for one in (here.device, place.device, *more)}
    estate = an_estate(*devices.values(), **values)
    leaving = leaving_with(estate, [DeviceId("kestrel")], [])
    shown = [facts for facts in (here.device_facts, place.device_facts) if isinstance(facts, DeviceFacts)]
    return stay_of(place, leaving, [here], estate, {facts.device: facts for facts in shown})


def test_another_box_on_other_drives_stays() -> None:
    assert when_kestrel_leaves(THERE).stays is Stays.STAYS


def test_one_filesystem_or_one_drive_goes_with_it() -> None:
    assert when_kestrel_leaves(with_volume(THERE, filesystem_uuid="uuid-kestrel:main")).stays is Stays.GOES
    here = with_volume(HERE, drives=frozenset({"wwn-1"}))
    assert when_kestrel_leaves(with_volume(THERE, drives=frozenset({"wwn-1"})), here=here).stays is Stays.GOES


def test_one_machine_under_another_name_goes_with_it() -> None:
    there = replace(THERE, device_facts=device_facts("heron", machine_id="machine-kestrel", boot_id="boot-kestrel"))
    assert when_kestrel_leaves(there).stays is Stays.GOES


def test_what_it_serves_over_the_network_goes_with_it() -> None:
    there = with_volume(THERE, mount_source="kestrel:/srv/main", filesystem_type="nfs4", filesystem_uuid=None)
    assert when_kestrel_leaves(there).stays is Stays.GOES


def test_a_box_that_shows_nothing_of_itself_is_not_shown_to_stay_unless_its_owner_attests_it() -> None:
    there = with_volume(THERE, filesystem_uuid=None)
    assert when_kestrel_leaves(there).stays is Stays.NOT_SHOWN
    assert when_kestrel_leaves(replace(THERE, volume_facts=a_gap())).stays is Stays.NOT_SHOWN
    word = (Attestation(other=DeviceId("kestrel"), statement="I carried it in"),)
    attested = replace(there, device=replace(there.device, attested_apart=word))
    assert when_kestrel_leaves(attested).stays is Stays.STAYS


def test_the_owners_word_does_not_outrank_what_is_shown() -> None:
    word = (Attestation(other=DeviceId("kestrel"), statement="another box"),)
    there = with_volume(THERE, filesystem_uuid="uuid-kestrel:main")
    attested = replace(there, device=replace(there.device, attested_apart=word))
    assert when_kestrel_leaves(attested).stays is Stays.GOES


def test_a_host_stays_when_its_guest_leaves_though_one_kernel_carries_both() -> None:
    guest = a_device("kestrel", a_volume("kestrel:main"), runs_on=DeviceId("heron"))
    here = replace(a_place(guest), device_facts=device_facts("kestrel", boot_id="boot-heron"))
    assert when_kestrel_leaves(THERE, here=here).stays is Stays.STAYS


def test_a_guest_goes_with_its_host() -> None:
    guest = a_device("heron", a_volume("heron:pool"), runs_on=DeviceId("kestrel"))
    assert when_kestrel_leaves(a_place(guest)).stays is Stays.GOES


def test_in_a_rehearsal_places_stay_as_declared_but_one_folder_is_one_folder() -> None:
    one_disk = {"device_number": "8:1", "mount_target": "/", "fs_root": "/", "filesystem_uuid": "same"}
    here = with_box(with_volume(HERE, path="/x/kestrel", **one_disk), boot_id="one")
    apart = with_box(with_volume(THERE, path="/x/heron", **one_disk), boot_id="one")
    assert when_kestrel_leaves(apart, here=here, rehearsal=True).stays is Stays.STAYS
    inside = replace(apart, volume_facts=volume_facts(apart.volume, **{**one_disk, "path": "/x/kestrel/in"}))
    assert when_kestrel_leaves(inside, here=here, rehearsal=True).stays is Stays.GOES
    bound = {**one_disk, "path": "/x/heron", "mount_target": "/x/heron", "fs_root": "/x/kestrel"}
    mounted = replace(apart, volume_facts=volume_facts(apart.volume, **bound))
    assert when_kestrel_leaves(mounted, here=here, rehearsal=True).stays is Stays.GOES


def test_what_is_stored_on_what_leaves_falls_with_it_and_so_does_what_runs_on_that() -> None:
    main, pool = a_key("kestrel:main"), a_key("heron:pool")
    heron = a_device("heron", replace(a_volume("heron:pool"), stored_on=main))
    avocet = a_device("avocet", replace(a_volume("avocet:images"), stored_on=pool))
    found = leaving_with(an_estate(KESTREL, heron, avocet), [], [main])
    assert {str(volume) for volume in found.volumes} == {"kestrel:main", "heron:pool", "avocet:images"}
    assert found.devices == frozenset()
    assert found.falls == ("heron:pool is stored on kestrel:main", "avocet:images is stored on heron:pool")
