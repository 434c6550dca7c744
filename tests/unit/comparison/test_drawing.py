"""Drawing files of a copy: who can be drawn, the random order, and that a sample stays one over the nights."""

from __future__ import annotations

import secrets
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2, kstest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.drawing import Compared, Draw, Listed, again, draw
from coverage_audit.comparison.ranks import ranks
from coverage_audit.comparison.types import Workspace
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.keys import key_of
from coverage_audit.evidence.manifest import Manifest, Row
from tests.builders.manifests import MEMORY, MTIME, SEED, a_folder, a_link, a_manifest, a_row

CHANCE = b"sixteen bytes..."
HOSTILE = (b"takes/line\nfeed", b"takes/\xff\xfe no utf-8", b"takes/-rf", "takes/naïve \u202egnp".encode(), b"takes/ ")


def _work(folder: Path) -> Workspace:
    return Workspace(folder=folder, memory=MEMORY, seed=SEED)


def _compared(folder: Path, original: Manifest, copy: Manifest, leave_out: tuple[str, ...] = ()) -> Compared:
    matched = match(original, copy, leave_out=leave_out, work=_work(folder))
    return Compared(original=original, copy=copy, relation=matched.relation, leave_out=leave_out)


def _drawn(folder: Path, original: list[Row], copy: list[Row], most: int = 10_000, **how: tuple[str, ...]) -> Draw:
    pair = _compared(folder, a_manifest(folder, original), a_manifest(folder, copy), **how)
    return draw(pair, CHANCE, most, _work(folder))


def _paths(found: Draw) -> list[bytes]:
    return [one.path for one in found.files]


def test_the_population_is_the_files_that_are_held_under_whatever_spelling(tmp_path: Path) -> None:
    held = [a_row(name) for name in (*HOSTILE, b"takes/one")]
    original = [
        *held,
        a_folder(b"takes"),
        a_link(b"latest", b"takes/one"),
        a_row(b"missing"),
        a_row(b"edited", mtime_ns=MTIME + 1),
        a_row(b"left/out"),
        a_folder(b"left"),
        a_row("na\u00efve-\u00e9".encode()),
    ]
    copy = [
        *held,
        a_folder(b"takes"),
        a_link(b"latest", b"takes/one"),
        a_row(b"edited"),
        a_row(b"extra"),
        a_row(b"left/out"),
        a_folder(b"left"),
        a_row("nai\u0308ve-e\u0301".encode()),  # held under another spelling (Unicode's other form of the same)
    ]

    found = _drawn(tmp_path, original, copy, leave_out=("left/",))

    respelled = "na\u00efve-\u00e9".encode()
    assert set(_paths(found)) == {*(row.path for row in held), respelled}
    assert found.population == Tally(files=len(held) + 1, bytes=(len(held) + 1) * 100)
    assert {one.path: one.there for one in found.files if one.there != one.path} == {respelled: copy[-1].path}


def test_files_that_the_copy_spells_otherwise_are_drawn_as_often_as_all_others(tmp_path: Path) -> None:
    """Were they counted and never drawn, a sample would speak of files that it cannot meet."""
    rows = [a_row(b"%04d-\xc3\xa9" % number, size=number + 1) for number in range(2_000)]
    copy = [*rows[:1_000], *(replace(row, path=row.path.replace(b"\xc3\xa9", b"e\xcc\x81")) for row in rows[1_000:])]

    found = _drawn(tmp_path, rows, copy, most=400)

    elsewhere = [one for one in found.files if one.there != one.path]
    assert len(found.files) == 400
    assert 140 < len(elsewhere) < 260  # 200 on the average; less or more than that once in a billion seeds
    assert all((one.copy.size, one.there[:4]) == (one.original.size, one.path[:4]) for one in found.files)


def test_of_what_is_spelled_otherwise_no_other_file_is_taken_for_it(tmp_path: Path) -> None:
    """Of two names of the original that fold into one the copy has one; and one that it has twice is nobody's."""
    original = [a_row(b"Same", size=7), a_row(b"same", mtime_ns=MTIME - 10**10), a_row(b"Twice")]
    copy = [a_row(b"Same"), a_row(b"twice"), a_row(b"TWICE"), a_row(b"same", size=9)]
    pair = _compared(tmp_path, a_manifest(tmp_path, original), a_manifest(tmp_path, copy))

    found = {one.path: one for one in draw(pair, CHANCE, 100, _work(tmp_path)).files}

    assert found[b"Twice"].there == b"Twice"  # which is not there: it cannot be read, and counts as differing
    assert again(pair, [b"Twice"], _work(tmp_path)).held == {}
    assert all(one.there == one.path for one in found.values())


def test_what_both_sides_list_of_a_file_comes_with_it(tmp_path: Path) -> None:
    original = [a_row(b"one", ctime_ns=MTIME + 5), a_row(b"two", size=7)]
    copy = [a_row(b"one", ctime_ns=None), a_row(b"two", size=7, ctime_ns=MTIME + 9)]

    found = {one.path: one for one in _drawn(tmp_path, original, copy).files}

    assert found[b"one"].original == Listed(size=100, mtime_ns=MTIME, ctime_ns=MTIME + 5)
    assert found[b"one"].copy == Listed(size=100, mtime_ns=MTIME, ctime_ns=None)
    assert found[b"two"].copy == Listed(size=7, mtime_ns=MTIME, ctime_ns=MTIME + 9)


def test_files_come_in_the_order_of_their_ranks_and_go_on_from_any_of_them(tmp_path: Path) -> None:
    rows = [a_row(b"%05d" % number, size=number) for number in range(5_000)]
    pair = _compared(tmp_path, a_manifest(tmp_path, rows), a_manifest(tmp_path, rows))
    whole = draw(pair, CHANCE, 5_000, _work(tmp_path))

    order = [one.rank for one in whole.files]
    assert order == sorted(order)
    assert whole.left == whole.population == Tally(files=5_000, bytes=sum(range(5_000)))
    first = draw(pair, CHANCE, 1_000, _work(tmp_path))
    assert first.files == whole.files[:1_000]
    rest = draw(pair, CHANCE, 700, _work(tmp_path), begin=whole.files[1_000].rank)
    assert rest.files == whole.files[1_000:1_700]
    assert rest.left == Tally(files=4_000, bytes=sum(one.original.size for one in whole.files[1_000:]))
    assert draw(pair, secrets.token_bytes(16), 1_000, _work(tmp_path)).files != first.files


def test_a_sample_stays_one_when_files_come_and_go(tmp_path: Path) -> None:
    rows = [a_row(b"%05d" % number) for number in range(4_000)]
    later = [*rows[500:], *(a_row(b"new %05d" % number) for number in range(300))]
    before, after = _drawn(tmp_path, rows, rows), _drawn(tmp_path, later, later)

    gone, come = {row.path for row in rows[:500]}, {row.path for row in later[3_500:]}
    assert [p for p in _paths(before) if p not in gone] == [p for p in _paths(after) if p not in come]


def test_named_files_are_found_again_with_what_is_listed_of_them_now(tmp_path: Path) -> None:
    original = [*(a_row(name) for name in HOSTILE), a_row(b"edited", mtime_ns=MTIME + 1), a_row(b"missing")]
    copy = [*(a_row(name, ctime_ns=MTIME + 7) for name in HOSTILE), a_row(b"edited"), a_row(b"extra")]
    pair = _compared(tmp_path, a_manifest(tmp_path, original), a_manifest(tmp_path, copy))

    found = again(pair, [*HOSTILE, b"edited", b"missing", b"extra", b"never"], _work(tmp_path))

    assert set(found.held) == set(HOSTILE)
    assert {one.copy.ctime_ns for one in found.held.values()} == {MTIME + 7}
    assert set(found.listed) == {*HOSTILE, b"edited", b"missing"}
    assert found.listed[b"edited"].mtime_ns == MTIME + 1
    assert again(pair, [], _work(tmp_path)).held == {}


def test_listings_that_are_not_those_that_were_compared_are_refused(tmp_path: Path) -> None:
    rows = [a_row(b"one"), a_row(b"two")]
    pair = _compared(tmp_path, a_manifest(tmp_path, rows), a_manifest(tmp_path, rows))
    other = a_manifest(tmp_path, [*rows, a_row(b"three")])
    with pytest.raises(ComparisonError, match="changed underneath"):
        draw(replace(pair, copy=replace(pair.copy, file=other.file)), CHANCE, 10, _work(tmp_path))


def test_ranks_are_even_and_of_two_seeds_have_nothing_to_do_with_each_other() -> None:
    """Chance of failure by chance: one in a million each (Kolmogorov and Smirnov; chi-squared), and the seeds stand."""
    keys = [key_of(SEED, b"takes/%06d.flac" % number) for number in range(20_000)]
    upper, lower = (np.array(half, dtype=np.uint64) for half in zip(*keys, strict=True))
    first, second = (ranks(upper, lower, bytes([number]) * 16).astype(float) / 2**63 for number in (1, 2))

    assert kstest(first, "uniform").pvalue > 1e-6
    cells = Counter(zip((first * 10).astype(int).tolist(), (second * 10).astype(int).tolist(), strict=True))
    statistic = sum((cells[i, j] - 200) ** 2 / 200 for i in range(10) for j in range(10))
    assert chi2.sf(statistic, 99) > 1e-6
