"""How far a failure reaches by declaration."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from coverage_audit.estate.model import DeviceId
from coverage_audit.judgement.domains import device_domain, drive_domain, shared_domain, site_domain, volume_domain
from coverage_audit.scenarios.extent import every_domain, extent_of, worth_telling
from tests.builders.station import CURLEW, KESTREL, a_device, a_key, a_volume, an_estate

FOUR = tuple(Drive(size=4 * 10**12) for _ in range(4))
LAB = replace(KESTREL, failure_domains=(("room", "lab"), ("account", "admin")))
GUEST = a_device("avocet", a_volume("avocet:images", stored_on=a_key("kestrel:main")), runs_on=DeviceId("kestrel"))
STORED = a_device("wren", a_volume("wren:disk", stored_on=a_key("avocet:images")))
VAULT = replace(
    a_device("vault", a_volume("vault:a", immutable=True), a_volume("vault:b")), failure_domains=(("account", "admin"),)
)
ESTATE = an_estate(LAB, GUEST, STORED, VAULT, CURLEW)


def test_a_box_takes_its_guests_and_all_that_is_stored_on_either() -> None:
    found = extent_of(device_domain(DeviceId("kestrel")), ESTATE)

    assert found.devices == ("kestrel", "avocet")
    assert set(map(str, found.volumes)) == {"kestrel:main", "avocet:images", "wren:disk"}
    assert {(one.name, one.why) for one in found.also} == {
        ("avocet", "avocet runs on kestrel"),
        ("wren:disk", "avocet runs on kestrel"),
    }


def test_a_room_takes_the_guests_of_the_boxes_in_it() -> None:
    found = extent_of(shared_domain("room", "lab"), ESTATE)

    assert found.devices == ("kestrel", "avocet")
    assert found.said == "the room lab"


def test_a_volume_takes_what_is_stored_on_it_and_no_device() -> None:
    found = extent_of(volume_domain(a_key("avocet:images")), ESTATE)

    assert found.devices == ()
    assert set(map(str, found.volumes)) == {"avocet:images", "wren:disk"}


def test_an_account_leaves_what_is_immutable() -> None:
    found = extent_of(shared_domain("account", "admin"), ESTATE)

    assert "vault:b" in set(map(str, found.volumes))
    assert "vault:a" not in set(map(str, found.volumes))


def test_an_account_of_a_host_takes_its_guest_whatever_is_immutable() -> None:
    guest = a_device("owl", a_volume("owl:disk", immutable=True), runs_on=DeviceId("kestrel"))
    found = extent_of(shared_domain("account", "admin"), an_estate(LAB, guest))

    assert set(map(str, found.volumes)) == {"kestrel:main", "owl:disk"}


def test_a_site_takes_what_stands_there_whatever_is_immutable() -> None:
    assert "vault:a" in set(map(str, extent_of(site_domain(VAULT.site), ESTATE).volumes))


def test_one_drive_takes_a_volume_that_stands_no_loss_and_no_other() -> None:
    bare = a_device("bare", a_volume("bare:disk", drives=FOUR))
    raid = a_device("raid", a_volume("raid:disk", drives=FOUR, parity=Parity(kind=ParityKind.SPREAD, drives=1)))
    estate = an_estate(bare, raid)

    assert extent_of(drive_domain(a_key("bare:disk"), 1), estate).volumes == (a_key("bare:disk"),)
    assert extent_of(drive_domain(a_key("raid:disk"), 1), estate).volumes == ()


def test_a_table_tells_of_one_drive_of_an_array_and_of_no_only_volume() -> None:
    raid = a_device("raid", a_volume("raid:disk", drives=FOUR, parity=Parity(kind=ParityKind.SPREAD, drives=1)))
    names = {str(domain) for domain in worth_telling(an_estate(LAB, VAULT, raid))}

    assert {"raid", "raid:disk#1", "vault:a", "vault:b", "room=lab", "site=barn"} <= names
    assert not {"raid:disk", "raid:disk#2", "kestrel:main"} & names
    assert len(every_domain(an_estate(LAB, VAULT, raid))) > len(names)
