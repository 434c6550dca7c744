"""One failure: what several devices share, and whether it takes all that is shown to hold the dataset."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from coverage_audit.estate.model import Copy, Device, Estate
from coverage_audit.evidence.facts import GapKind, MountedFilesystem
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import (
    a_case,
    a_comparison,
    a_copy,
    a_gap,
    a_place,
    device_facts,
    judged_dataset,
    lacking,
    volume_facts,
)
from tests.builders.station import (
    CURLEW,
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    a_device,
    a_volume,
    an_address,
    an_estate,
)


def sharing(device: Device, *shared: tuple[str, str]) -> Device:
    return replace(device, failure_domains=shared)


def copy_on(device: Device, **values: Any) -> Any:
    address = an_address(f"{device.volumes[0].key}/recordings")
    return a_copy(device, Copy(address=address, **values.pop("declared", {})), **values)


def finding_of(*copies: Any, original: Device = KESTREL, estate: Estate | None = None, **policy: Any) -> Finding:
    case = a_case(*copies)
    case = replace(
        case,
        policy=replace(POLICY, **{"copies": 2, "media": None, "offsite": None, **policy}),
        original=replace(case.original, place=a_place(original)),
    )
    (finding,) = (found for found in judged_dataset(case, estate).findings if found.rule == "one-failure")
    return finding


def test_copies_that_share_nothing_are_all_taken_by_no_single_failure() -> None:
    finding = finding_of(copy_on(HERON), copy_on(CURLEW))

    assert finding.answer is Answer.CONFORMITY
    assert "No single failure" in finding.message


def test_everything_in_one_room_breaks_a_policy_of_two_copies() -> None:
    finding = finding_of(copy_on(sharing(HERON, ("room", "lab"))), original=sharing(KESTREL, ("room", "lab")))

    assert finding.answer is Answer.NONCONFORMITY
    assert "room=lab" in finding.measured
    assert "the room lab" in finding.message


def test_everything_in_one_room_is_remarked_where_one_copy_is_enough() -> None:
    lab = ("room", "lab")
    finding = finding_of(copy_on(sharing(HERON, lab)), original=sharing(KESTREL, lab), copies=1)

    assert finding.answer is Answer.OBSERVATION


def test_everything_at_one_site_is_remarked_where_nothing_offsite_is_asked() -> None:
    finding = finding_of(copy_on(HERON))

    assert finding.answer is Answer.OBSERVATION
    assert finding.measured == "site=station"


def test_a_copy_outside_of_the_room_that_is_unverified_leaves_it_open() -> None:
    lab = ("room", "lab")
    unseen = copy_on(CURLEW, comparison=None, tree_at=None, gap=a_gap("curlew"))
    finding = finding_of(copy_on(sharing(HERON, lab)), unseen, original=sharing(KESTREL, lab))

    assert finding.answer is Answer.UNVERIFIED
    assert "may be lost" in finding.message


def test_an_older_state_outside_of_the_room_is_something() -> None:
    lab = ("room", "lab")
    stale = copy_on(CURLEW, comparison=lacking(3, counting=lacking(3).missing, counting_rows=3))
    finding = finding_of(copy_on(sharing(HERON, lab)), stale, original=sharing(KESTREL, lab))

    assert finding.answer is Answer.CONFORMITY


def test_what_is_recorded_too_long_ago_is_shown_to_hold_nothing() -> None:
    lab = ("room", "lab")
    stale = copy_on(
        CURLEW,
        comparison=lacking(3, counting=lacking(3).missing, counting_rows=3),
        tree_at=lacking(0).original_at.replace(year=2025),
    )
    finding = finding_of(copy_on(sharing(HERON, lab)), stale, original=sharing(KESTREL, lab))

    assert finding.answer is Answer.UNVERIFIED


def test_what_is_not_shown_to_be_apart_may_be_lost_with_the_other() -> None:
    feed = ("power", "ups")
    hidden = a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid=None))
    finding = finding_of(copy_on(HERON, place=hidden), original=sharing(KESTREL, feed))

    assert finding.answer is Answer.UNVERIFIED
    assert "power=ups" in finding.measured


def test_two_places_that_show_one_filesystem_are_lost_with_what_either_stands_in() -> None:
    feed = ("power", "ups")
    one = a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid="uuid-kestrel:main"))
    finding = finding_of(copy_on(HERON, place=one), original=sharing(KESTREL, feed))

    assert finding.answer is Answer.NONCONFORMITY


def test_a_guest_is_lost_with_the_room_of_its_host() -> None:
    lab = ("room", "lab")
    kestrel = sharing(KESTREL, lab)
    host = sharing(a_device("host", a_volume("host:disks")), lab)
    guest = a_device("avocet", a_volume("avocet:images"), runs_on=host.id)
    finding = finding_of(copy_on(guest), original=kestrel, estate=an_estate(kestrel, host, guest))

    assert finding.answer is Answer.NONCONFORMITY
    assert "room=lab" in finding.measured


ADMIN = ("account", "admin")
DAY = timedelta(days=1)


def test_one_password_that_can_erase_every_copy_is_a_single_failure() -> None:
    finding = finding_of(copy_on(sharing(CURLEW, ADMIN)), original=sharing(KESTREL, ADMIN))

    assert finding.answer is Answer.NONCONFORMITY
    assert "the admin account admin" in finding.message


def test_a_copy_that_is_shown_to_be_immutable_survives_the_account() -> None:
    vault = sharing(a_device("vault", a_volume("vault:space", immutable=True), site=CURLEW.site), ADMIN)
    sealed = a_place(vault, volume_facts=volume_facts(vault.volumes[0], read_only=True))
    finding = finding_of(copy_on(vault, place=sealed), original=sharing(KESTREL, ADMIN))

    assert finding.answer is Answer.CONFORMITY


def test_a_copy_that_is_only_declared_immutable_may_be_erased() -> None:
    vault = sharing(a_device("vault", a_volume("vault:space", immutable=True), site=CURLEW.site), ADMIN)
    silent = a_place(vault, volume_facts=volume_facts(vault.volumes[0], read_only=None))
    finding = finding_of(copy_on(vault, place=silent), original=sharing(KESTREL, ADMIN))

    assert finding.answer is Answer.UNVERIFIED


def test_a_copy_that_is_declared_immutable_and_shows_itself_writable_may_be_erased() -> None:
    vault = sharing(a_device("vault", a_volume("vault:space", immutable=True), site=CURLEW.site), ADMIN)
    writable = a_place(vault, volume_facts=volume_facts(vault.volumes[0], read_only=False))
    finding = finding_of(copy_on(vault, place=writable), original=sharing(KESTREL, ADMIN))

    assert finding.answer is Answer.UNVERIFIED


def test_a_guest_that_cannot_write_is_erased_by_the_account_of_its_host_all_the_same() -> None:
    kestrel, host = sharing(KESTREL, ADMIN), sharing(a_device("host", a_volume("host:disks"), site=CURLEW.site), ADMIN)
    vault = a_device("vault", a_volume("vault:space", immutable=True), site=CURLEW.site, runs_on=host.id)
    sealed = a_place(vault, volume_facts=volume_facts(vault.volumes[0], read_only=True))
    finding = finding_of(copy_on(vault, place=sealed), original=kestrel, estate=an_estate(kestrel, host, vault))

    assert finding.answer is Answer.NONCONFORMITY


def test_an_offline_volume_that_was_attached_may_be_erased_and_one_that_is_away_is_not() -> None:
    drive = sharing(a_device("drive", a_volume("drive:all", offline=True), site=CURLEW.site, may_be_off=DAY), ADMIN)
    yesterday = a_comparison().copy_at - DAY / 2
    away = copy_on(drive, comparison=replace(a_comparison(), copy_at=yesterday), tree_at=yesterday)
    kestrel = sharing(KESTREL, ADMIN)

    assert finding_of(copy_on(drive), original=kestrel).answer is Answer.UNVERIFIED
    assert finding_of(away, original=kestrel).answer is Answer.CONFORMITY


def test_an_account_of_the_box_that_has_a_copy_mounted_to_write_erases_that_copy() -> None:
    def answer(source: str, box: Device = CURLEW, **values: Any) -> Answer:
        mount = MountedFilesystem(
            source=source,
            target="/mnt/pool",
            **{"filesystem_type": "nfs4", "is_network": True, "read_only": False, **values},
        )
        kestrel = sharing(KESTREL, ADMIN)
        case = a_case(copy_on(box))
        place = a_place(kestrel, device_facts=device_facts("kestrel", filesystems=(mount,)))
        case = replace(
            case,
            policy=replace(POLICY, copies=2, media=None, offsite=None),
            original=replace(case.original, place=place),
        )
        estate = an_estate(kestrel, box)
        (found,) = (f for f in judged_dataset(case, estate).findings if f.rule == "one-failure")
        return found.answer

    there = CURLEW.volumes[0].path
    assert answer(f"curlew.example:{there}") is Answer.NONCONFORMITY
    assert answer(f"curlew.example:{there}", read_only=True) is Answer.CONFORMITY
    assert answer("//files/share") is Answer.UNVERIFIED
    offline = replace(CURLEW, volumes=(replace(CURLEW.volumes[0], offline=True),))
    assert answer("//files/share", offline) is Answer.UNVERIFIED, "it was attached in this audit"


def test_an_encrypted_copy_is_lost_with_the_last_place_that_keeps_its_key() -> None:
    lab = ("room", "lab")
    kestrel = sharing(KESTREL, lab)
    vault = a_device("vault", a_volume("vault:space", encrypted=True, key_kept=("kestrel",)), site=CURLEW.site)
    finding = finding_of(copy_on(vault), original=kestrel, estate=an_estate(kestrel, vault))

    assert finding.answer is Answer.NONCONFORMITY


def test_an_encrypted_copy_whose_key_is_kept_elsewhere_too_outlives_the_room() -> None:
    lab = ("room", "lab")
    kestrel = sharing(KESTREL, lab)
    vault = a_device("vault", a_volume("vault:space", encrypted=True, key_kept=("kestrel", "barn")), site=CURLEW.site)
    finding = finding_of(copy_on(vault), original=kestrel, estate=an_estate(kestrel, vault))

    assert finding.answer is Answer.CONFORMITY


def test_an_encrypted_copy_of_whose_key_nothing_is_declared_is_not_shown_to_hold_anything() -> None:
    lab = ("room", "lab")
    vault = a_device("vault", a_volume("vault:space"), site=CURLEW.site)
    finding = finding_of(copy_on(vault, declared={"encrypted": True}), original=sharing(KESTREL, lab))

    assert finding.answer is Answer.UNVERIFIED


def test_where_nothing_is_shown_to_hold_it_nothing_is_said_of_failures() -> None:
    case = a_case(copy_on(HERON, comparison=None, tree_at=None, gap=a_gap("heron")))
    unseen = replace(case.original, tree=a_gap("kestrel:main/recordings", GapKind.UNREACHABLE))

    (finding,) = (f for f in judged_dataset(replace(case, original=unseen)).findings if f.rule == "one-failure")

    assert finding.answer is Answer.OBSERVATION
    assert "Nothing is shown to hold field-recordings" in finding.message
    assert RECORDINGS.id == "field-recordings"
