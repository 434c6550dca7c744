from __future__ import annotations

from dataclasses import replace

from coverage_audit.judgement.independence import Apart, relation
from tests.builders.apart import related, with_box
from tests.builders.cases import a_place, device_facts
from tests.builders.station import CURLEW, HERON, KESTREL, a_device, a_key, a_volume, an_estate

HERE, THERE = a_place(KESTREL), a_place(HERON)


def test_a_guest_and_its_host_are_one_however_far_down() -> None:
    avocet = a_device("avocet", a_volume("avocet:images"), runs_on=a_key("dunlin:x").device)
    dunlin = a_device("dunlin", a_volume("dunlin:x"), runs_on=KESTREL.id)

    found = related(HERE, a_place(avocet), dunlin)

    assert found.apart is Apart.ONE
    assert found.declared
    assert "dunlin runs on kestrel" in found.reasons[0]


def test_two_guests_of_one_host_fall_together() -> None:
    one = a_device("avocet", a_volume("avocet:images"), runs_on=KESTREL.id)
    two = a_device("dunlin", a_volume("dunlin:images"), runs_on=KESTREL.id)

    assert related(a_place(one), a_place(two), KESTREL).apart is Apart.ONE


def test_a_volume_and_the_one_it_is_stored_on_are_one() -> None:
    avocet = a_device("avocet", a_volume("avocet:images", stored_on=a_key("heron:pool")))

    assert related(a_place(avocet), THERE).apart is Apart.ONE


def test_a_host_that_is_known_under_another_name_is_recognised_by_its_facts() -> None:
    avocet = a_device("avocet", a_volume("avocet:images"), runs_on=HERON.id)
    estate = an_estate(KESTREL, HERON, avocet)
    host = device_facts("heron", machine_id="machine-kestrel", boot_id="boot-kestrel")

    assert relation(HERE, a_place(avocet), estate, {HERON.id: host}).apart is Apart.ONE


def test_a_guest_that_does_not_say_of_whom_is_not_shown_apart() -> None:
    guest = with_box(THERE, is_guest=True)
    said = replace(guest, device=replace(HERON, runs_on=CURLEW.id))

    assert related(HERE, guest).apart is Apart.NOT_SHOWN
    assert related(HERE, said, CURLEW).apart is Apart.SHOWN
