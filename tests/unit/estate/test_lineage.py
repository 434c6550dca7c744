from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.estate.model import Attestation, DeviceId
from tests.builders.estate_file import SMALL, mistakes, read, spoiled

KESTREL = "  kestrel:\n    site: station\n"
HERON = "  heron:\n    site: barn\n"
MAIN = "main: {path: /srv/main, medium: hdd}"
POOL = "pool: {path: /srv/pool, medium: hdd}"


def test_a_guest_its_host_and_its_former_names_are_read(tmp_path: Path) -> None:
    guest = "  heron:\n    site: station\n    runs_on: kestrel\n    formerly: [bittern, egret]\n"
    text = spoiled(HERON, guest).replace(POOL, POOL.replace("hdd", "hdd, stored_on: 'kestrel:main'"))
    heron = read(tmp_path, text).devices[1]
    assert heron.runs_on == "kestrel"
    assert heron.formerly == ("bittern", "egret")
    assert str(heron.volumes[0].stored_on) == "kestrel:main"


def test_an_attestation_names_the_other_device_and_says_why(tmp_path: Path) -> None:
    estate = read(tmp_path, spoiled(HERON, f"{HERON}    attested_apart: {{kestrel: The warden saw both}}\n"))
    assert estate.devices[1].attested_apart == (
        Attestation(other=DeviceId("kestrel"), statement="The warden saw both"),
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (HERON, f"{HERON}    runs_on: heron\n", "14:14: 'heron' runs on itself (name what really lies below it)"),
        (HERON, f"{HERON}    runs_on: egret\n", "14:14: no device 'egret' is declared (known: heron, kestrel)"),
        (HERON, f"{HERON}    runs_on: 7\n", "14:14: '7' is no id (put it in quotes)"),
        (
            HERON,
            f"{HERON}    runs_on: kestrel\n",
            "13:11: 'heron' is at 'barn', but runs on 'kestrel' at 'station' (a guest is where its host is)",
        ),
        (
            POOL,
            POOL.replace("hdd", "hdd, stored_on: 'heron:pool'"),
            "16:55: 'heron:pool' is stored on itself (name what really lies below it)",
        ),
        (
            POOL,
            POOL.replace("hdd", "hdd, stored_on: 'kestrel:mian'"),
            "16:55: device 'kestrel' has no volume 'mian' (did you mean 'main'?)",
        ),
        (POOL, POOL.replace("hdd", "hdd, stored_on: kestrel"), "16:55: 'kestrel' is no volume (write device:volume)"),
        (
            HERON,
            f"{HERON}    formerly: [kestrel]\n",
            "14:16: 'kestrel' is a device still (one that left is declared no more)",
        ),
        (
            HERON,
            f"{HERON}    formerly: [heron]\n",
            "14:16: 'heron' is a device still (one that left is declared no more)",
        ),
        (
            HERON,
            f"{HERON}    formerly: [egret, egret]\n",
            "14:23: 'egret' was claimed by 'heron' already (line 14: one device goes on under one new name)",
        ),
        (
            HERON,
            f"{HERON}    attested_apart: {{heron: two boxes}}\n",
            "14:22: 'heron' is attested to be apart from itself (name another device)",
        ),
        (
            HERON,
            f"{HERON}    attested_apart: {{kestral: two boxes}}\n",
            "14:22: no device 'kestral' is declared (did you mean 'kestrel'?)",
        ),
        (
            HERON,
            f"{HERON}    attested_apart: {{kestrel: ''}}\n",
            "14:31: '' is no line of text (1 to 200 printable characters)",
        ),
    ],
)
def test_a_wrong_lineage_is_told_at_its_place(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert mistakes(tmp_path, spoiled(old, new)) == [told]


def test_a_former_name_is_claimed_once(tmp_path: Path) -> None:
    text = spoiled(KESTREL, f"{KESTREL}    formerly: [egret]\n").replace(HERON, f"{HERON}    formerly: [egret]\n")
    assert mistakes(tmp_path, text) == [
        "15:16: 'egret' was claimed by 'kestrel' already (line 9: one device goes on under one new name)"
    ]


def test_an_address_on_a_device_that_was_renamed_is_told_its_new_name(tmp_path: Path) -> None:
    text = spoiled(HERON, f"{HERON}    formerly: [egret]\n").replace("heron:pool/sheets", "egret:pool/sheets")
    assert mistakes(tmp_path, text) == ["25:13: no device 'egret' is declared (it is now 'heron')"]


def test_a_cycle_of_hosts_is_told_once_with_its_way(tmp_path: Path) -> None:
    text = (
        SMALL.replace("site: barn", "site: station")
        .replace("  kestrel:\n", "  kestrel:\n    runs_on: heron\n")
        .replace("  heron:\n", "  heron:\n    runs_on: kestrel\n")
    )
    assert mistakes(tmp_path, text) == [
        "8:14: 'kestrel' runs on itself by way of 'heron' (name what really lies below it)"
    ]


def test_a_cycle_of_volumes_is_told_and_crossed_mounts_are_none(tmp_path: Path) -> None:
    crossed = spoiled(MAIN, f"{MAIN}\n      far: {{path: /mnt/pool, medium: hdd, stored_on: 'heron:pool'}}").replace(
        POOL, f"{POOL}\n      far: {{path: /mnt/main, medium: hdd, stored_on: 'kestrel:main'}}"
    )
    assert len(read(tmp_path, crossed).devices[0].volumes) == 2
    cycle = spoiled(MAIN, MAIN.replace("hdd", "hdd, stored_on: 'heron:pool'")).replace(
        POOL, POOL.replace("hdd", "hdd, stored_on: 'kestrel:main'")
    )
    assert mistakes(tmp_path, cycle) == [
        "11:55: 'kestrel:main' is stored on itself by way of 'heron:pool' (name what really lies below it)"
    ]


def test_a_way_that_leads_into_a_cycle_is_no_second_one(tmp_path: Path) -> None:
    text = spoiled(MAIN, MAIN.replace("hdd", "hdd, stored_on: 'heron:pool'")).replace(
        POOL, POOL.replace("hdd", "hdd, stored_on: 'heron:pool'")
    )
    assert mistakes(tmp_path, text) == ["16:55: 'heron:pool' is stored on itself (name what really lies below it)"]


def test_copies_that_are_made_of_each_other_are_told(tmp_path: Path) -> None:
    taken = ", taken_from: heron:pool/more", ", taken_from: heron:pool/sheets"
    (told,) = mistakes(tmp_path, _with_two_copies(*taken))
    assert "'heron:pool/sheets' is made of itself by way of 'heron:pool/more'" in told
    assert read(tmp_path, _with_two_copies(taken[0], "")).datasets[0].copies[0].taken_from is not None


def _with_two_copies(first: str, second: str, more: str = "") -> str:
    """The estate with two copies of its dataset, and lines of the dataset's own."""
    copies = f"    copies:\n      - {{at: heron:pool/sheets{first}}}\n      - {{at: heron:pool/more{second}}}\n"
    head, _, _ = SMALL.partition("    copies:")
    return head + more + copies


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (_with_two_copies("", ", moved_from: [heron:pool/sheets/]"), "'heron:pool/sheets' is a copy still"),
        (
            _with_two_copies(", moved_from: [heron:pool/old]", ", moved_from: [heron:pool/old]"),
            "one copy goes on at one new place",
        ),
        (_with_two_copies("", "", "    moved_from: [kestrel:main/sheets]\n"), "is the original of"),
    ],
)
def test_a_history_has_one_heir(tmp_path: Path, text: str, said: str) -> None:
    assert said in " ".join(mistakes(tmp_path, text))


def test_a_dataset_goes_on_under_one_new_name_that_no_other_bears(tmp_path: Path) -> None:
    name = next(iter(read(tmp_path, SMALL).datasets)).id
    still = SMALL.replace(f"  {name}:\n", f"  {name}:\n    formerly: [{name}]\n")
    assert f"'{name}' is a dataset still" in " ".join(mistakes(tmp_path, still))
    twice = SMALL.replace(f"  {name}:\n", f"  {name}:\n    formerly: [tapes, tapes]\n")
    assert "one dataset goes on under one new name" in " ".join(mistakes(tmp_path, twice))
