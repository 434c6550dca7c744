from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from coverage_audit.estate.access import DeclaredIdentity
from coverage_audit.estate.model import Volume
from coverage_audit.evidence.facts import DeviceFacts, Gap, IdentityCheck, PinnedFact, PinState, VolumeFacts
from coverage_audit.judgement.identity import check_identity
from tests.builders.cases import a_gap, device_facts, volume_facts
from tests.builders.station import HERON, changed

POOL = HERON.volumes[0]
BOX = device_facts("heron")
SEEN = volume_facts(POOL)
ROOT_FILESYSTEM = replace(SEEN, filesystem_uuid="uuid-of-root", mount_target="/", on_root=True)


def checked(
    seen: VolumeFacts = SEEN,
    device: DeviceFacts | Gap = BOX,
    pinned: tuple[PinnedFact, ...] | None = None,
    *,
    volume: Volume = POOL,
    rehearsal: bool = False,
) -> IdentityCheck:
    return check_identity(volume, seen, device, pinned, rehearsal=rehearsal)


def pinned_at_first(seen: VolumeFacts = SEEN, device: DeviceFacts | Gap = BOX) -> tuple[PinnedFact, ...]:
    return checked(seen, device).seen


def test_what_a_volume_shows_is_pinned_as_a_set_when_it_is_first_seen() -> None:
    check = checked()

    assert check.state is PinState.PINNED_NOW
    assert check.trusted
    assert {fact.name for fact in check.seen} == {
        "filesystem_uuid", "filesystem_type", "mount_target", "fs_root", "drive", "machine_id", "host_key",
    }  # fmt: skip


def test_the_same_volume_is_as_pinned() -> None:
    check = checked(pinned=pinned_at_first())

    assert check.state is PinState.AS_PINNED
    assert check.differences == ()
    assert check.newly_shown == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"filesystem_uuid": "another"}, "filesystem UUID was uuid-heron:pool, is now another"),
        ({"filesystem_type": "xfs"}, "filesystem type was ext4, is now xfs"),
        ({"mount_target": "/srv"}, "mount target was /srv/pool, is now /srv"),
        ({"fs_root": "/@old"}, "mounted part of the filesystem was /, is now /@old"),
        ({"drives": frozenset({"serial-new"})}, "drive serial-heron:pool is not shown any more"),
    ],
)
def test_a_fact_that_changed_is_said_in_words(change: dict[str, Any], words: str) -> None:
    check = checked(changed(SEEN, **change), pinned=pinned_at_first())

    assert check.state is PinState.CHANGED
    assert not check.trusted
    assert words in check.differences


@pytest.mark.parametrize("name", ["filesystem_uuid", "filesystem_type", "mount_target", "fs_root"])
def test_a_fact_that_is_not_shown_any_more_is_a_change(name: str) -> None:
    check = checked(changed(SEEN, **{name: None}), pinned=pinned_at_first())

    assert check.state is PinState.CHANGED
    assert "is now not shown" in check.differences[0]


@pytest.mark.parametrize("name", ["machine_id", "host_key"])
def test_another_box_under_the_same_name_is_a_change(name: str) -> None:
    assert checked(device=changed(BOX, **{name: "another"}), pinned=pinned_at_first()).state is PinState.CHANGED


def test_a_box_that_shows_nothing_of_itself_any_more_is_a_change() -> None:
    check = checked(device=a_gap(), pinned=pinned_at_first())

    assert check.state is PinState.CHANGED
    assert check.differences == (
        "machine id was machine-heron, is now not shown",
        "host key was SHA256:heron, is now not shown",
    )


def test_what_moves_from_start_to_start_raises_no_alarm() -> None:
    pins = pinned_at_first()
    moved = replace(SEEN, mount_source="/dev/sdc1", device_number="8:33", capacity=1, free=0, read_only=True)
    restarted = replace(BOX, boot_id="another", own_addresses=frozenset({"192.0.2.7"}))

    assert checked(moved, restarted, pins).state is PinState.AS_PINNED


def test_a_kernel_name_is_pinned_where_it_is_all_there_is() -> None:
    bare = replace(SEEN, filesystem_uuid=None)
    pins = pinned_at_first(bare)

    assert PinnedFact(name="mount_source", value="/dev/sda1") in pins
    assert checked(replace(bare, mount_source="/dev/sdb1"), pinned=pins).state is PinState.CHANGED


def test_a_stronger_fact_that_appears_later_does_not_make_the_weaker_vanish() -> None:
    pins = pinned_at_first(replace(SEEN, filesystem_uuid=None))
    check = checked(pinned=pins)

    assert check.state is PinState.AS_PINNED
    assert check.newly_shown == ("filesystem UUID uuid-heron:pool is shown in addition",)
    assert set(check.seen) > set(pins)


def test_a_network_share_is_pinned_by_its_source() -> None:
    share = replace(
        SEEN, filesystem_type="nfs4", filesystem_uuid=None, mount_source="curlew:/export", drives=frozenset()
    )

    moved = replace(share, mount_source="avocet:/export")

    assert checked(moved, pinned=pinned_at_first(share)).differences == (
        "mount source was curlew:/export, is now avocet:/export",
    )


def test_an_unmounted_disk_is_told_by_its_reason_and_by_the_facts() -> None:
    check = checked(ROOT_FILESYSTEM, pinned=pinned_at_first())

    assert check.state is PinState.CHANGED
    assert check.differences[0] == "nothing is mounted at /srv/pool: the path lies on the root filesystem"
    assert "filesystem UUID was uuid-heron:pool, is now uuid-of-root" in check.differences


def test_an_empty_mount_point_met_first_is_asked_about_and_not_pinned() -> None:
    check = checked(ROOT_FILESYSTEM)

    assert check.state is PinState.ASKED
    assert not check.trusted
    assert "nothing is mounted at /srv/pool" in check.differences[0]
    assert "on_root: true" in check.differences[0]


def test_a_mount_target_of_the_root_is_enough_to_ask() -> None:
    assert checked(replace(ROOT_FILESYSTEM, on_root=None)).state is PinState.ASKED


def test_a_path_on_the_root_filesystem_is_still_asked_about_after_it_was_pinned() -> None:
    declared = replace(POOL, on_root=True)
    pins = checked(ROOT_FILESYSTEM, volume=declared).seen

    assert checked(ROOT_FILESYSTEM, pinned=pins, volume=declared).state is PinState.AS_PINNED
    assert checked(ROOT_FILESYSTEM, pinned=pins).state is PinState.ASKED


def test_in_a_rehearsal_the_root_filesystem_is_taken_as_declared_but_pins_still_hold() -> None:
    first = checked(ROOT_FILESYSTEM, rehearsal=True)

    assert first.state is PinState.TAKEN_AS_DECLARED
    assert first.trusted
    changed = replace(ROOT_FILESYSTEM, filesystem_uuid="another")
    assert checked(changed, pinned=first.seen, rehearsal=True).state is PinState.CHANGED


def test_a_volume_that_shows_nothing_is_known_by_its_content() -> None:
    bare = VolumeFacts(volume=POOL.key, at=SEEN.at, path=POOL.path)

    assert checked(bare).state is PinState.BY_CONTENT
    assert checked(replace(bare, filesystem_type="fuse.unknown")).state is PinState.BY_CONTENT


def test_a_volume_that_shows_nothing_any_more_is_not_known_by_its_content() -> None:
    bare = VolumeFacts(volume=POOL.key, at=SEEN.at, path=POOL.path)

    assert checked(bare, pinned=pinned_at_first()).state is PinState.CHANGED


def test_identity_declared_by_hand_holds_at_the_first_audit() -> None:
    right = replace(POOL, identity=DeclaredIdentity(filesystem_uuid="uuid-heron:pool"))
    wrong = replace(POOL, identity=DeclaredIdentity(filesystem_uuid="uuid-wanted", drive_serials=frozenset({"x"})))

    assert checked(volume=right).state is PinState.PINNED_NOW
    check = checked(volume=wrong)
    assert check.state is PinState.CHANGED
    assert check.differences == (
        "filesystem UUID was uuid-wanted, is now uuid-heron:pool",
        "drive x is not shown any more",
    )


def test_identity_declared_by_hand_overrules_what_was_pinned_before() -> None:
    replaced = replace(SEEN, filesystem_uuid="uuid-new")
    declared = replace(POOL, identity=DeclaredIdentity(filesystem_uuid="uuid-new"))

    assert checked(replaced, pinned=pinned_at_first()).state is PinState.CHANGED
    assert checked(replaced, pinned=pinned_at_first(), volume=declared).state is PinState.AS_PINNED


def test_test_data_in_place_of_the_real_tree_after_a_migration_is_another_volume() -> None:
    migrated = replace(SEEN, filesystem_uuid="uuid-scratch", mount_source="/dev/sdz1", drives=frozenset({"serial-z"}))

    assert not checked(migrated, pinned=pinned_at_first()).trusted
