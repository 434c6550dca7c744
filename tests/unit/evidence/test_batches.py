from __future__ import annotations

import stat
from array import array
from itertools import chain
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches import printed
from coverage_audit.evidence.batches.printed import printed_records
from coverage_audit.evidence.batches.scanned import scanned_rows

LARGEST = 2**63 - 1

names = st.binary(min_size=1, max_size=8).filter(lambda name: 0 not in name)
times = st.one_of(
    st.integers(-(2**70), 2**70),
    st.integers(-(10**12), 10**12),
    st.sampled_from([0, -1, LARGEST, LARGEST + 1, -LARGEST]),
)
records = st.tuples(
    st.sampled_from(b"fdlbcpsD"),
    st.integers(0, 10**15),
    st.integers(0, 10**12),
    st.integers(1, 10**8),
    times,
    times,
    st.integers(0, 2**32),
    names,
    names,
)
Listed = tuple[int, int, int, int, int, int, int, bytes, bytes]


def as_find_prints(*record: Any) -> bytes:
    """One record as GNU find prints it: times as whole seconds, rounded down, and ten digits counting upwards."""
    kind, size, blocks, links, mtime, ctime, device, path, target = record
    mtime_text, ctime_text = (b"%d.%09d0" % divmod(time, 10**9) for time in (mtime, ctime))
    shown = target if kind == ord("l") else b""
    return b"%c%13d %11d %7d %21s %21s %10d %s\0%s\0" % (
        (kind, size, blocks, links, mtime_text, ctime_text, device, path, shown)
    )


def clamped(time: int) -> int:
    """What 64 bits hold of it; within a second of their end the end itself is taken."""
    if abs(time // 10**9) > LARGEST // 10**9 - 1:
        return LARGEST if time > 0 else -LARGEST - 1
    return time


@settings(deadline=None)
@given(st.lists(records, max_size=6))
def test_what_find_prints_is_read_exactly(listed: list[Listed]) -> None:
    found = printed_records(b"".join(as_find_prints(*record) for record in listed))
    assert found.devices.tolist() == [record[6] for record in listed]
    wanted = [
        {
            "path": path,
            "kind": chr(kind) if chr(kind) in "fdl" else "o",
            "size": 0 if kind == ord("d") else size,
            "mtime_ns": clamped(mtime),
            "ctime_ns": clamped(ctime),
            "target": target if kind == ord("l") else None,
            "blocks": blocks if kind == ord("f") else None,
            "links": links if kind == ord("f") else None,
            "digest": None,
        }
        for kind, size, blocks, links, mtime, ctime, _device, path, target in listed
    ]
    assert found.batch.to_pylist() == wanted


@settings(deadline=None)
@given(st.lists(records, min_size=1, max_size=6))
def test_the_fast_and_the_slow_reading_agree(listed: list[Listed]) -> None:
    block = b"".join(as_find_prints(*record) for record in listed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(printed, "_in_columns", lambda *_parts: None)
        slow = printed_records(block)
    fast = printed_records(block)
    assert fast.batch.equals(slow.batch)
    assert fast.devices.tolist() == slow.devices.tolist()


WHOLE = as_find_prints(ord("f"), 5, 8, 1, 1, 1, 7, b"path", b"")


@settings(deadline=None)
@given(st.integers(0, 89), st.binary(min_size=1, max_size=1))
def test_a_head_with_a_wrong_character_is_refused_or_reads_as_it_stands(place: int, character: bytes) -> None:
    damaged = WHOLE[:place] + character + WHOLE[place + 1 :]
    try:
        row = printed_records(damaged).batch.to_pylist()[0]
    except EvidenceError:
        return
    assert row["path"].endswith(b"path")
    assert row["size"] >= 0


@pytest.mark.parametrize(
    "block",
    [
        WHOLE[:-1],
        WHOLE + b"\0",
        WHOLE + b"rest",
        b"no record\0\0",
        WHOLE.replace(b"f", b"U"),  # find prints U where it does not know
        WHOLE.replace(b"f", b"?"),
        WHOLE.replace(b".", b","),
        WHOLE.replace(b" 5 ", b"-5 "),
        WHOLE.replace(b" 5 ", b"5x "),
    ],
)
def test_what_find_does_not_print_is_refused(block: bytes) -> None:
    with pytest.raises(EvidenceError):
        printed_records(block)


def test_rows_below_a_border_are_left_out_and_the_border_is_a_row() -> None:
    paths = [b"a", b"a/x", b"a.b", b"a/x/y"]
    found = printed_records(b"".join(as_find_prints(ord("f"), 0, 0, 1, 0, 0, 1, path, b"") for path in paths))
    assert found.outside([b"a"])["path"].to_pylist() == [b"a", b"a.b"]


def test_rows_on_another_device_are_named() -> None:
    block = b"".join(as_find_prints(ord("d"), 0, 0, 2, 0, 0, device, b"%d" % device, b"") for device in (7, 8, 7))
    assert printed_records(block).elsewhere(7) == (b"8",)


FACTS = {
    stat.S_IFREG: "f",
    stat.S_IFDIR: "d",
    stat.S_IFLNK: "l",
    stat.S_IFIFO: "o",
    stat.S_IFSOCK: "o",
    stat.S_IFBLK: "o",
    stat.S_IFCHR: "o",
}
scanned = st.tuples(
    st.sampled_from(sorted(FACTS)),
    st.integers(0, LARGEST),
    st.integers(-LARGEST, LARGEST),
    st.integers(0, LARGEST),
    names,
    names,
)


@settings(deadline=None)
@given(st.lists(scanned, max_size=8))
def test_what_walkers_tell_is_read_exactly(listed: list[tuple[int, int, int, int, bytes, bytes]]) -> None:
    numbers = array(
        "q", chain.from_iterable((mode | 0o644, size, time, time, blocks, 3) for mode, size, time, blocks, *_ in listed)
    )
    links = [target for mode, *_, target in listed if mode == stat.S_IFLNK]
    batch = scanned_rows(b"".join(path + b"\0" for *_, path, _target in listed), numbers.tobytes(), 6, links)
    assert batch.to_pylist() == [
        {
            "path": path,
            "kind": FACTS[mode],
            "size": 0 if mode == stat.S_IFDIR else size,
            "mtime_ns": time,
            "ctime_ns": time,
            "target": target if mode == stat.S_IFLNK else None,
            "blocks": blocks if mode == stat.S_IFREG else None,
            "links": 3 if mode == stat.S_IFREG else None,
            "digest": None,
        }
        for mode, size, time, blocks, path, target in listed
    ]


def test_parts_that_do_not_belong_together_are_refused() -> None:
    one = array("q", [stat.S_IFREG, 0, 0, 0, 1, 1]).tobytes()
    for paths, links in ((b"a\0b\0", []), (b"a\0", [b"target"]), (b"", [])):
        with pytest.raises(EvidenceError):
            scanned_rows(paths, one, 6, links)


def test_the_gate_prints_what_is_read_here() -> None:
    """The far side of a walk is a script of its own: both must mean one format."""
    assert b"-printf '" + printed.PRINTF + b"'" in (Path(__file__).parents[3] / "deploy/gate").read_bytes()
