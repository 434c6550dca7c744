from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Attestation
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.independence import Apart
from tests.builders.apart import related, with_box, with_volume
from tests.builders.cases import a_gap, a_place, device_facts, volume_facts
from tests.builders.station import HERON, KESTREL, a_device, a_volume

HERE, THERE = a_place(KESTREL), a_place(HERON)


def test_two_boxes_that_show_all_of_themselves_are_shown_apart() -> None:
    assert related(HERE, THERE).apart is Apart.SHOWN


def test_two_volumes_of_one_device_are_one() -> None:
    box = a_device("kestrel", a_volume("kestrel:main"), a_volume("kestrel:spare"))
    second = PlaceEvidence(
        device=box,
        volume=box.volumes[1],
        device_facts=device_facts("kestrel"),
        volume_facts=volume_facts(box.volumes[1]),
        identity=a_gap(),
    )

    found = related(a_place(box), second)

    assert found.apart is Apart.ONE
    assert found.reasons == ("both lie on kestrel",)


def test_one_filesystem_under_two_names_is_one_though_its_subvolumes_have_device_numbers_of_their_own() -> None:
    a = with_volume(HERE, filesystem_uuid="same", device_number="0:31")
    b = with_volume(THERE, filesystem_uuid="same", device_number="0:32")

    found = related(a, b)

    assert found.apart is Apart.ONE
    assert "one filesystem (UUID same)" in found.reasons[0]


def test_two_filesystems_on_one_physical_drive_are_one() -> None:
    a = with_volume(HERE, drives=frozenset({"wwn-1", "wwn-2"}))
    b = with_volume(THERE, drives=frozenset({"wwn-2", "wwn-3"}))

    assert related(a, b).reasons == ("kestrel:main and heron:pool lie on one physical drive (wwn-2)",)


def test_one_machine_under_two_names_is_one() -> None:
    b = with_box(THERE, machine_id="machine-kestrel", boot_id="boot-kestrel")

    assert related(HERE, b).apart is Apart.ONE


def test_one_host_key_over_ssh_is_one_machine() -> None:
    assert related(HERE, with_box(THERE, host_key="SHA256:kestrel")).apart is Apart.ONE


def test_one_running_kernel_carries_both_whatever_else_they_call_themselves() -> None:
    found = related(HERE, with_box(THERE, boot_id="boot-kestrel"))

    assert found.apart is Apart.ONE
    assert "one running kernel" in found.reasons[0]


def test_one_machine_id_with_two_boot_ids_may_be_a_clone_and_is_not_shown_apart() -> None:
    found = related(HERE, with_box(THERE, machine_id="machine-kestrel"))

    assert found.apart is Apart.NOT_SHOWN
    assert "clone" in found.reasons[0]


@pytest.mark.parametrize("name", ["machine_id", "boot_id", "host_key"])
def test_a_box_that_does_not_show_who_it_is_is_not_shown_apart(name: str) -> None:
    found = related(HERE, with_box(THERE, **{name: None}))

    assert found.apart is Apart.NOT_SHOWN
    assert "heron does not show its" in found.reasons[0]


def test_a_box_here_needs_no_host_key() -> None:
    here = replace(KESTREL, access=LocalAccess())
    a = replace(a_place(here), device_facts=device_facts("kestrel", over="local", host_key=None))

    assert related(a, THERE).apart is Apart.SHOWN


def test_a_volume_without_a_filesystem_uuid_or_drives_is_not_shown_apart() -> None:
    assert related(HERE, with_volume(THERE, filesystem_uuid=None)).apart is Apart.NOT_SHOWN
    assert related(HERE, with_volume(THERE, drives=frozenset())).apart is Apart.NOT_SHOWN
    assert related(HERE, replace(THERE, volume_facts=a_gap())).apart is Apart.NOT_SHOWN
    assert related(HERE, replace(THERE, device_facts=a_gap())).apart is Apart.NOT_SHOWN


def test_a_loop_device_stands_on_a_file_of_its_own_machine_whose_drives_must_be_shown() -> None:
    loop = with_volume(THERE, drives=frozenset({"wwn-file"}), backing_file="/srv/images/pool.img")
    somewhere = with_volume(THERE, drives=frozenset(), backing_file="/mnt/kestrel/pool.img")

    assert related(HERE, loop).apart is Apart.SHOWN
    assert related(HERE, somewhere).reasons == ("heron:pool does not show which drives it stands on",)
    assert related(with_box(HERE, machine_id="m", boot_id="b"), with_box(loop, machine_id="m", boot_id="b")).apart is (
        Apart.ONE
    )


def test_a_socket_that_two_boxes_both_have_is_no_drive_in_common() -> None:
    path = frozenset({"path:pci0000:00/ata1"})

    assert related(with_volume(HERE, drives=path), with_volume(THERE, drives=path)).apart is Apart.SHOWN


def test_a_network_mount_and_the_device_that_serves_it_are_one() -> None:
    mount = with_volume(HERE, filesystem_type="nfs4", filesystem_uuid=None, mount_source="heron.example:/export/pool")

    found = related(mount, THERE)

    assert found.apart is Apart.ONE
    assert found.reasons == ("kestrel:main is a network mount that heron serves",)


def test_two_mounts_of_one_server_are_one() -> None:
    share = {"filesystem_type": "cifs", "filesystem_uuid": None}
    a = with_volume(HERE, mount_source="//store/a", **share)
    b = with_volume(THERE, mount_source="//store/b", **share)

    assert related(a, b).reasons == ("kestrel:main and heron:pool are both served by store",)


def test_where_a_network_mount_lies_is_not_shown() -> None:
    mount = with_volume(THERE, filesystem_type="nfs4", filesystem_uuid=None, mount_source="store:/export")

    found = related(HERE, mount)

    assert found.apart is Apart.NOT_SHOWN
    assert "store:/export" in found.reasons[0]


def test_a_share_mounted_here_is_not_this_machine_though_this_machine_shows_it() -> None:
    here = replace(a_place(replace(KESTREL, access=LocalAccess())), device_facts=device_facts("kestrel", over="local"))
    store = replace(a_place(replace(HERON, access=LocalAccess())), device_facts=device_facts("kestrel", over="local"))
    mounted = with_volume(store, filesystem_type="nfs", filesystem_uuid=None, mount_source="heron.example:/pool")

    assert related(here, mounted).apart is Apart.NOT_SHOWN


@pytest.mark.parametrize("source", ["localhost:/srv/pool", "127.0.0.1:/srv/pool", "kestrel.example:/srv/pool"])
def test_a_share_that_this_machine_serves_to_itself_is_this_machine(source: str) -> None:
    mounted = replace(
        with_volume(THERE, filesystem_type="nfs", filesystem_uuid=None, mount_source=source),
        device_facts=device_facts("kestrel"),
    )

    assert related(HERE, mounted).apart is Apart.ONE


def test_the_serials_that_hypervisors_invent_prove_nothing() -> None:
    a = with_box(with_volume(HERE, drives=frozenset({"disk0"})), is_guest=True)
    b = with_box(with_volume(THERE, drives=frozenset({"disk0"})), is_guest=True)
    hosts = (a_device("host-a", a_volume("host-a:x")), a_device("host-b", a_volume("host-b:x")))
    a = replace(a, device=replace(KESTREL, runs_on=hosts[0].id))
    b = replace(b, device=replace(HERON, runs_on=hosts[1].id))

    assert related(a, b, *hosts).apart is Apart.NOT_SHOWN


def test_a_drive_off_the_shelf_is_known_by_its_filesystem_and_its_serial() -> None:
    shelf = a_device("shelf-b", a_volume("shelf-b:drive", path=""), access=ShelfAccess())
    bare = replace(a_place(shelf), device_facts=a_gap("shelf-b"))

    assert related(HERE, bare).apart is Apart.SHOWN
    assert related(HERE, with_volume(bare, drives=frozenset({"path:usb1"}))).apart is Apart.NOT_SHOWN
    assert related(HERE, with_volume(bare, drives=frozenset({"serial-kestrel:main"}))).apart is Apart.ONE
    assert related(HERE, replace(bare, volume_facts=a_gap())).apart is Apart.NOT_SHOWN


def test_an_attestation_stands_where_the_facts_are_silent_and_beside_the_conclusion() -> None:
    word = Attestation(other=KESTREL.id, statement="two boxes in two rooms; I carried them there")
    silent = replace(with_box(THERE, machine_id=None), device=replace(HERON, attested_apart=(word,)))

    found = related(HERE, silent)

    assert found.apart is Apart.SHOWN
    assert found.attested == word


def test_an_attestation_does_not_stand_against_the_facts() -> None:
    word = Attestation(other=KESTREL.id, statement="believe me")
    same = replace(with_box(THERE, host_key="SHA256:kestrel"), device=replace(HERON, attested_apart=(word,)))

    assert related(HERE, same).apart is Apart.ONE


def test_in_a_rehearsal_places_are_apart_as_declared_but_not_one_folder_or_a_guest() -> None:
    bare = replace(THERE, device_facts=device_facts("kestrel"), volume_facts=volume_facts(THERE.volume, path="/x"))
    folder = with_volume(THERE, path="/srv/main")
    guest = a_place(replace(HERON, runs_on=KESTREL.id))

    assert related(HERE, bare, rehearsal=True).apart is Apart.SHOWN
    assert related(HERE, folder, rehearsal=True).apart is Apart.ONE
    assert related(HERE, guest, rehearsal=True).apart is Apart.ONE
