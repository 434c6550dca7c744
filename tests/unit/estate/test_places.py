from __future__ import annotations

from pathlib import Path

import pytest

from tests.builders.estate_file import SMALL, mistakes, read, spoiled

MAIN = "      main: {path: /srv/main, medium: hdd}\n"
COPY = "      - at: heron:pool/sheets\n"


@pytest.mark.parametrize("path", ["/srv/main", "/srv/main/", "//srv//main", "/srv/./main", "/./srv/main/."])
def test_two_volumes_of_one_device_with_one_path_are_one_place(tmp_path: Path, path: str) -> None:
    found = mistakes(tmp_path, spoiled(MAIN, f"{MAIN}      again: {{path: {path}, medium: ssd}}\n"))
    assert found == ["12:7: 'kestrel:again' is the same place as 'kestrel:main' in line 11 (declare it once)"]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("auditor@kestrel.example", "auditor@kestrel.example"),
        ("auditor@kestrel.example", "root@Kestrel.Example.:22"),
        ("a@kestrel:2222", "b@KESTREL:2222"),
        ('"a@[2001:db8::7]"', '"a@[2001:DB8:0::0:7]:22"'),
        ('"a@[::1]:2222"', "a@localhost:2222"),
        ("a@127.0.0.1:2222", "a@localhost:2222"),
    ],
)
def test_two_devices_reached_at_one_host_and_port_with_one_path_are_one_place(
    tmp_path: Path, one: str, other: str
) -> None:
    text = SMALL.replace("auditor@kestrel.example", one).replace("auditor@heron.example", other)
    found = mistakes(tmp_path, text.replace("/srv/pool", "/srv/main/"))
    assert "16:7: 'heron:pool' is the same place as 'kestrel:main' in line 11 (declare it once)" in found


@pytest.mark.parametrize(
    ("one", "other", "path"),
    [
        ("a@kestrel:2222", "a@kestrel:2223", "/srv/main"),  # two machines behind one address
        ("a@kestrel", "a@kestrel", "/srv/pool"),  # one machine: the audit sees that, the file is not wrong
        ("a@kestrel", "a@heron", "/srv/main"),
    ],
)
def test_other_ports_paths_and_hosts_are_other_places(tmp_path: Path, one: str, other: str, path: str) -> None:
    text = SMALL.replace("auditor@kestrel.example", one).replace("auditor@heron.example", other)
    assert len(read(tmp_path, text.replace("/srv/pool", path)).devices) == 2


def test_two_devices_mounted_here_with_one_path_are_one_place(tmp_path: Path) -> None:
    text = SMALL.replace("{ssh: auditor@kestrel.example}", "local").replace("{ssh: auditor@heron.example}", "local")
    found = mistakes(tmp_path, text.replace("/srv/pool", "/srv/main"))
    assert found[0] == "16:7: 'heron:pool' is the same place as 'kestrel:main' in line 11 (declare it once)"


def test_shelf_drives_may_be_plugged_in_at_the_same_folder(tmp_path: Path) -> None:
    text = SMALL.replace("{ssh: auditor@kestrel.example}", "shelf").replace("{ssh: auditor@heron.example}", "shelf")
    assert len(read(tmp_path, text.replace("/srv/pool", "/srv/main")).devices) == 2


@pytest.mark.parametrize("path", ["heron:pool/sheets", "heron:pool/sheets/", "heron:pool/./sheets"])
def test_two_copies_at_one_address_are_one(tmp_path: Path, path: str) -> None:
    found = mistakes(tmp_path, spoiled(COPY, f"{COPY}      - at: {path}\n"))
    assert found == ["25:13: 'heron:pool/sheets' is the place of another copy (line 24: one place counts once)"]


def test_two_copies_in_the_same_dated_folders_are_one(tmp_path: Path) -> None:
    copy = "      - {at: 'heron:pool/{point}/a', points: {folders: '%Y%m%d'}}\n"
    found = mistakes(tmp_path, spoiled(COPY, copy + copy))
    assert found == ["25:14: 'heron:pool/{point}/a' is the place of another copy (line 24: one place counts once)"]


def dated_at_one_place(points: str, of_another: str) -> str:
    """The small estate with a dated copy, and a second dataset with a copy at the same address."""
    copy = "{at: 'heron:pool/{point}/a', points: %s}"
    again = "  again:\n    policy: plain\n    original: kestrel:main/b\n"
    return f"{SMALL}      - {copy % points}\n{again}    copies: [{copy % of_another}]\n"


@pytest.mark.parametrize("other", ["files", "{folders: '%Y-%m-%d'}", "{command: [list-states], lines: '(?P<time>.*)'}"])
def test_one_place_has_one_way_of_telling_its_points(tmp_path: Path, other: str) -> None:
    found = mistakes(tmp_path, dated_at_one_place("{folders: '%Y%m%d'}", other))

    said = "the points of 'heron:pool/{point}/a' are told otherwise in line 25 (one place has one way of telling its"
    assert f"29:43: {said} points: declare it alike)" in found


def test_two_datasets_may_share_a_place_whose_points_they_tell_alike(tmp_path: Path) -> None:
    same = "{folders: '%Y%m%d'}"

    assert len(read(tmp_path, dated_at_one_place(same, same)).datasets) == 2


def test_a_copy_at_the_original_is_none(tmp_path: Path) -> None:
    found = mistakes(tmp_path, spoiled("heron:pool/sheets", "kestrel:main/sheets/"))
    assert found == ["24:13: 'kestrel:main/sheets' is the place of its original (line 22: one place counts once)"]


def test_a_copy_at_the_original_by_way_of_a_volume_around_it_is_none(tmp_path: Path) -> None:
    text = spoiled(MAIN, f"{MAIN}      root: {{path: /, medium: hdd}}\n")
    found = mistakes(tmp_path, text.replace("heron:pool/sheets", "kestrel:root/srv/main/sheets"))
    assert found == [
        "25:13: 'kestrel:root/srv/main/sheets' is the place of its original (line 23: one place counts once)"
    ]


def test_two_datasets_with_one_original_are_one(tmp_path: Path) -> None:
    more = "  again: {policy: plain, original: kestrel:main/sheets/}\n"
    found = mistakes(tmp_path, SMALL + more)
    assert found == ["25:36: 'kestrel:main/sheets' is already the original of 'survey-sheets' in line 22 (keep one)"]


def test_a_copy_of_one_dataset_may_be_the_original_of_another(tmp_path: Path) -> None:
    more = "  again: {policy: plain, original: heron:pool/sheets}\n"
    assert len(read(tmp_path, SMALL + more).datasets) == 2


def test_two_names_for_one_place_are_told_also_where_the_login_is_wrong(tmp_path: Path) -> None:
    text = spoiled(MAIN, f"{MAIN}      again: {{path: /srv/main, medium: ssd}}\n").replace("auditor@kestrel", "a:b@k")
    assert len(mistakes(tmp_path, text)) == 2
