from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.evidence.manifest import Census, Kind
from tests.builders.manifests import DAY_NS, MTIME, STARTED, a_folder, a_link, a_manifest, a_row

SECOND = 10**9


def census_of(folder: Path, mtimes: list[int], filesystem_type: str | None = "ext4") -> Census:
    rows = [a_row(b"%04d" % number, mtime_ns=mtime) for number, mtime in enumerate(mtimes)]
    return a_manifest(folder, rows, filesystem_type=filesystem_type).census


def test_folders_are_entries_but_no_files_and_only_regular_files_have_bytes(tmp_path: Path) -> None:
    rows = [a_folder(b"d"), a_row(b"d/a", size=7), a_link(b"l", b"d/a"), a_row(b"p", kind=Kind.OTHER, size=9)]
    census = a_manifest(tmp_path, rows).census
    assert (census.entries, census.files, census.bytes) == (4, 3, 7)


def test_the_newest_times_are_those_of_files_and_links(tmp_path: Path) -> None:
    rows = [
        a_folder(b"d", mtime_ns=MTIME + 9, ctime_ns=MTIME + 9),
        a_row(b"f", mtime_ns=MTIME + 1, ctime_ns=None),
        a_link(b"l", b"f", mtime_ns=MTIME + 2, ctime_ns=MTIME + 3),
    ]
    census = a_manifest(tmp_path, rows).census
    assert (census.newest_mtime_ns, census.newest_ctime_ns) == (MTIME + 2, MTIME + 3)


def test_an_empty_tree_has_no_newest_times(tmp_path: Path) -> None:
    assert a_manifest(tmp_path, []).census == Census(entries=0, files=0, bytes=0, granularity_ns=1)


@pytest.mark.parametrize("step", [1, 100, 1_000, 1_000_000, SECOND])
def test_granularity_is_the_coarsest_step_of_all_files(tmp_path: Path, step: int) -> None:
    first = 1_700_000_001 * SECOND
    assert census_of(tmp_path, [first, first + 7 * step]).granularity_ns == step


# FAT keeps mtimes in steps of two seconds: Microsoft, "FAT: General Overview of On-Disk Format", 1.03, time field.
def test_even_seconds_mean_two_seconds_on_fat_or_where_chance_is_ruled_out(tmp_path: Path) -> None:
    even = [(1_700_000_000 + 2 * number) * SECOND for number in range(16)]
    assert census_of(tmp_path, even[:1], "vfat").granularity_ns == 2 * SECOND
    assert census_of(tmp_path, even[:15], "ext4").granularity_ns == SECOND
    assert census_of(tmp_path, even, "ext4").granularity_ns == 2 * SECOND
    assert census_of(tmp_path, [*even, even[0] + SECOND], "vfat").granularity_ns == SECOND


def test_times_of_folders_and_links_say_nothing_of_granularity(tmp_path: Path) -> None:
    rows = [a_folder(b"d", mtime_ns=1), a_link(b"l", b"d", mtime_ns=1), a_row(b"f", mtime_ns=1_700_000_001 * SECOND)]
    assert a_manifest(tmp_path, rows).census.granularity_ns == SECOND


@pytest.mark.parametrize(
    ("size", "blocks", "hollow"),
    [
        (1 << 16, 0, 1),
        (1 << 16, 15, 1),
        (1 << 16, 16, 0),  # an eighth of 64 KiB is 16 blocks of 512 bytes
        ((1 << 16) + 1, 16, 1),
        ((1 << 16) - 1, 0, 0),
        (1 << 16, None, 0),
        (2**62, 2**50 - 1, 1),
    ],
)
def test_a_file_that_takes_up_less_than_an_eighth_of_its_size_is_hollow(
    tmp_path: Path, size: int, blocks: int | None, hollow: int
) -> None:
    rows = [a_row(b"a", size=size, blocks=blocks), a_row(b"o", kind=Kind.OTHER, size=size, blocks=0)]
    assert a_manifest(tmp_path, rows).census.hollow == hollow


def test_files_with_further_names_and_those_with_digests_are_counted(tmp_path: Path) -> None:
    rows = [a_row(b"a", links=2), a_row(b"b", links=2), a_row(b"c", links=1, digest=b"1"), a_row(b"d", digest=b"")]
    census = a_manifest(tmp_path, rows).census
    assert (census.linked, census.digested) == (2, 2)


# Trap: times wrapped at 2**32 seconds or before 1970 must never pass for "newer".
def test_times_before_1970_or_later_than_a_day_after_the_start_are_odd(tmp_path: Path) -> None:
    started = int(STARTED.timestamp()) * SECOND
    odd = [-1, -(2**31) * SECOND, started + DAY_NS + 1, 2**32 * SECOND, 2**63 - 1]
    plausible = [0, started, started + DAY_NS]
    assert census_of(tmp_path, odd + plausible).odd_times == len(odd)
