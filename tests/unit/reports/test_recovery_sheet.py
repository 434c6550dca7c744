"""The recovery sheet as text: what somebody else in the house needs, and nothing that was not shown."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.changes import ChangeKind, EstateChange
from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.verdict import Standing
from coverage_audit.reports.recovery_sheet import recovery_sheet
from coverage_audit.scenarios.loss import Fate, Loss
from tests.builders.judged import NOW, key
from tests.builders.losses import (
    a_dataset_loss,
    a_place_left,
    a_restore,
    a_table,
    account_gone,
    barn_gone,
    drive_gone,
    hostile_loss,
    hut_gone,
    kestrel_gone,
    the_estate,
)
from tests.builders.page_reader import Seen, assert_audible, assert_harmless, assert_links_lead_somewhere, assert_quoted

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>\x1b[2J\n\u202e\udcff'


def sheet(loss: Loss, estate: Estate | None = None) -> str:
    return recovery_sheet(loss, a_table(loss), estate or the_estate())


def read(loss: Loss, estate: Estate | None = None) -> str:
    return re.sub(r"\s+", " ", " ".join(Seen(sheet(loss, estate)).text)).replace("\xa0", " ")


LOSSES = {"kestrel": kestrel_gone(), "hut": hut_gone(), "barn": barn_gone(), "hostile": hostile_loss(HOSTILE)}


@pytest.mark.parametrize("name", LOSSES)
def test_it_is_a_page_like_every_other(name: str) -> None:
    page = sheet(LOSSES[name])
    assert_harmless(page)
    assert_audible(page)
    assert_links_lead_somewhere(page)
    assert_quoted(page)
    assert all(line.isprintable() for line in page.replace("\t", " ").split("\n"))


def test_it_says_what_stood_where_and_as_of_when() -> None:
    text = read(kestrel_gone())

    for words in (
        "Recovery sheet, as of the audit of 2026-11-25 04:10 GMT",
        "If the device kestrel is gone",
        "kestrel stood at Field station, with kestrel:main (hdd, /srv/main).",
        "With it goes avocet (runs on kestrel).",
        "Have a box or drive with room for 1.5 TB (1.35 TiB).",
    ):
        assert words in text


def test_each_dataset_in_its_turn_says_from_where_of_when_with_which_key_and_how_long() -> None:
    text = read(kestrel_gone())

    for words in (
        "1 field-recordings 212 GB (197.44 GiB) heron /srv/pool/mirror/field-recordings Field station",
        "2 herbarium 212 GB (197.44 GiB) curlew /srv/store/nightly/herbarium Long Barn; encrypted: its key is kept at",
        "is kept at Long Barn and heron (Field station)",
        "2026-11-16 04:31 GMT stale; lacks 311 files (4.8 GB) about 4 h 32 min what was measured of curlew:store",
        "7 catalogue",
        "All of it, one after the other: at least 7 h 33 min",
        "heron Field station, SSH to auditor@heron.example",
        "Keys that were kept there: shelf-b:drive: also at Long Barn.",
    ):
        assert words in text


def test_it_follows_the_order_of_the_loss_and_forgets_nothing_that_has_a_way_back() -> None:
    loss = kestrel_gone()
    turned = replace(loss, order=(DatasetId("weather"), DatasetId("herbarium")))

    text = read(turned)

    assert re.search(r"1 weather .* 2 herbarium .* 3 field-recordings .* 7 catalogue", text)


def test_what_is_not_shown_is_no_way_back_but_named_as_something_to_try() -> None:
    text = read(kestrel_gone())

    assert "old-maps : not shown, but try shelf-b, old-maps (Long Barn)" in text
    assert "ledgers : nothing that is left holds it" in text
    assert not re.search(r"\d (old-maps|ledgers) ", text)


@pytest.mark.parametrize("fate", [Fate.LOST, Fate.NOT_SHOWN])
def test_a_place_is_no_way_back_where_the_fate_says_that_nothing_is_shown(fate: Fate) -> None:
    best = a_place_left("heron", "mirror", holds=Holds.NOT_SHOWN, standing=Standing.UNVERIFIED)
    loss = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", fate, best=best),), order=(DatasetId("ledgers"),))

    text = read(loss)

    assert "Nothing: no original is lost of which a copy is shown." in text
    assert "not shown, but try heron, /srv/pool/mirror" in text


def test_a_copy_that_is_shown_to_be_empty_is_nothing_to_try() -> None:
    empty = a_place_left("heron", "ledgers", standing=Standing.INCOMPLETE, holds=Holds.NOTHING, age=None)
    loss = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", Fate.LOST, left=(empty,)),))

    assert "ledgers : nothing that is left holds it" in read(loss)


def test_a_copy_with_a_defect_is_named_with_it() -> None:
    best = a_place_left("curlew", "ledgers", standing=Standing.DAMAGED, holds=Holds.PART)
    loss = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", Fate.FALLS_BACK, best=best),))

    assert "damaged; lacks nothing that was seen" in read(loss)


def test_what_patterns_leave_out_is_said_to_be_lost() -> None:
    best = a_place_left("curlew", "ledgers")
    partly = replace(a_dataset_loss("ledgers", best=best), left_out=Tally(files=12, bytes=88_000))

    assert "what its patterns leave out is lost: 12 files (88.0 kB)" in read(replace(barn_gone(), datasets=(partly,)))
    assert "patterns" not in read(kestrel_gone())


def test_what_only_loses_a_copy_is_to_be_copied_again_from_its_original() -> None:
    assert "photographs from heron, /srv/pool/photographs (Field station)" in read(kestrel_gone())


def test_a_key_that_is_gone_with_the_box_is_said_to_be_gone() -> None:
    locked = replace(a_place_left("curlew", "store/ledgers", encrypted=True, key_kept=("kestrel",)), key_gone=True)
    loss = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", Fate.NOT_SHOWN, left=(locked,)),))

    assert "try curlew, /srv/store/store/ledgers (Long Barn; its key is gone)" in read(loss)


def test_a_key_is_not_looked_for_on_what_is_gone() -> None:
    best = a_place_left("curlew", "ledgers", encrypted=True, key_kept=("kestrel", "barn"))
    loss = replace(kestrel_gone(), datasets=(a_dataset_loss("ledgers", best=best, restore=a_restore(best.address)),))
    alone = replace(best, key_kept=("kestrel",))
    locked = replace(loss, datasets=(a_dataset_loss("ledgers", best=alone, restore=a_restore(best.address)),))

    assert "encrypted: its key is kept at Long Barn" in read(loss)
    assert "encrypted: its key is gone" in read(locked)
    assert "kestrel (Field station)" not in read(loss) + read(locked)


def test_a_copy_whose_key_is_gone_is_no_way_back_whatever_it_holds() -> None:
    locked = replace(a_place_left("curlew", "store", encrypted=True, key_kept=("kestrel",)), key_gone=True)
    loss = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", Fate.HELD, best=locked),))

    assert "Nothing: no original is lost of which a copy is shown." in read(loss)


def test_an_encrypted_copy_without_a_declared_key_says_so() -> None:
    best = a_place_left("curlew", "ledgers", encrypted=True)
    loss = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", best=best, restore=a_restore(best.address)),))

    assert "encrypted: where its key is kept is not declared" in read(loss)


def test_a_dated_copy_says_which_state_to_take() -> None:
    best = a_place_left("curlew", "nightly/{point}/ledgers")
    dated = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", best=best, restore=a_restore(best.address)),))

    assert "Where {point} stands in a path, take the newest dated state that is whole." in read(dated)
    assert "{point}" not in read(kestrel_gone())


def test_a_size_that_is_not_known_is_not_left_out_of_the_room_that_is_needed() -> None:
    best = a_place_left("curlew", "ledgers")
    unknown = a_dataset_loss("ledgers", best=best, restore=a_restore(best.address), size=None)
    known = a_dataset_loss("weather", best=best, restore=a_restore(best.address))

    text = read(replace(barn_gone(), datasets=(unknown, known)))

    assert "room for 212 GB (197.44 GiB) and more, for not every size is known" in text
    assert "ledgers size not known" in text


def test_a_time_of_which_nothing_is_known_is_not_made_up() -> None:
    best = a_place_left("curlew", "ledgers")
    loss = replace(
        barn_gone(), datasets=(a_dataset_loss("ledgers", best=best),), back=None, not_reckoned=(DatasetId("ledgers"),)
    )

    text = read(loss)

    assert "lacks nothing that was seen not known" in text
    assert "All of it" not in text


def test_of_a_stolen_password_the_first_thing_is_to_change_it() -> None:
    text = read(account_gone())

    assert "If somebody erases all that the admin account warden can write to" in text
    assert "It reaches kestrel:main. It cannot erase shelf-b:drive (kept offline) and curlew:store (immutable)." in text
    assert "stood at" not in text
    assert text.index("change that password") < text.index("Stop everything that copies from there")
    assert "change that password" not in read(kestrel_gone())


def test_of_a_drive_the_first_thing_is_what_its_array_needs() -> None:
    text = read(drive_gone())

    steps = text.index("Put the new drive in before the old one is taken out")
    alone = text.index("no copy elsewhere is proven of ledgers and old-maps: copy these first")
    assert steps < alone < text.index("Stop everything that copies from there")


def test_a_copy_that_is_made_again_says_how_to_get_to_its_original() -> None:
    assert "kestrel Field station, the machine that runs the auditor" in read(barn_gone())


def test_a_volume_alone_says_in_which_box_it_was() -> None:
    loss = replace(kestrel_gone(), devices=(), volumes=(key("heron"),), also=())

    assert "heron:pool (hdd, /srv/pool) was in heron, at Field station." in read(loss)


def test_how_to_reach_a_box_names_what_one_types_and_how_long_fetching_takes() -> None:
    estate = the_estate()
    devices = tuple(
        replace(device, access=SshAccess(host="heron.example", port=2222), fetch_time=timedelta(days=1))
        if device.id == "heron"
        else device
        for device in estate.devices
    )

    text = read(kestrel_gone(), replace(estate, devices=devices))

    assert "heron Field station, SSH to heron.example port 2222; 24 h to have it here" in text


def test_an_old_audit_is_said_before_the_steps() -> None:
    loss = kestrel_gone()
    table = replace(a_table(loss), at=NOW + timedelta(days=40))

    text = re.sub(r"\s+", " ", " ".join(Seen(recovery_sheet(loss, table, the_estate())).text))

    assert text.index("That audit began 40 days ago") < text.index("Before anything else")


def test_what_was_declared_since_is_said_to_be_unknown() -> None:
    loss = kestrel_gone()
    changes = [EstateChange(kind=ChangeKind.CAME, part="device", name="osprey")]

    page = recovery_sheet(loss, a_table(loss), the_estate(), changes)

    assert "Of what was declared since that audit nothing is known: device osprey" in " ".join(Seen(page).text)


def test_what_was_not_judged_is_named() -> None:
    loss = kestrel_gone()
    page = recovery_sheet(loss, a_table(loss, unjudged=("bird-counts",)), the_estate())

    assert "Of these the audit said nothing: bird-counts." in " ".join(Seen(page).text)
