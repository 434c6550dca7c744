from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from datetime import timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coverage_audit.comparison import alike, compare
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.comparison.mode import clock_offset_ns
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.comparison.types import Matched, Workspace
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Blind, Kind, Manifest, Row
from coverage_audit.evidence.store import groups as store_groups
from tests.builders.manifests import MEMORY, MTIME, SEED, STARTED, a_manifest
from tests.builders.matching_model import HOUR_NS, Expected, Tree, expected

NAMES = [
    b"a",
    b"b",
    b"B",
    b"c.tmp",
    b"-rf",
    b"a b",
    b"a\nb",
    b"\xff\xfe",
    b"a.",
    b"a-",
    b"\x01",
    b"$(x)",
    "\u202ex".encode(),
]
SECOND = 10**9
STEPS = [1, 100, 1000, 10**6, SECOND, 2 * SECOND]
ODD = [-5 * SECOND, 2**32 * SECOND, 0, 2**63 - 1, -(2**63)]
PATTERNS = ["*.tmp", "a/", "!c.tmp", "/b/**", "B", "!B/a", "# none"]
DIGESTED = 0.4  # of all files
LACKS = ["mtime", "size", "targets", "kinds"]
KINDS = [Kind.FILE] * 8 + [Kind.FOLDER, Kind.LINK, Kind.OTHER]


@dataclass(frozen=True)
class Pair:
    """Two trees, where the second came from the first as copies do."""

    original: tuple[Row, ...]
    copy: tuple[Row, ...]
    blind_original: tuple[bytes, ...]
    blind_copy: tuple[bytes, ...]
    patterns: tuple[str, ...]
    offsets: tuple[timedelta | None, timedelta | None]
    one_box: bool
    lacks: frozenset[str]


def _path(chance: Random) -> bytes:
    return b"/".join(chance.choices(NAMES, k=chance.randint(1, 3)))


def _row(chance: Random, path: bytes, odd: float) -> Row:
    """A row as a collector hands it over: folders have no size, only links have a target."""
    kind = chance.choice(KINDS)
    size = chance.randint(0, 2)
    mtime = chance.choice(ODD) if chance.random() < odd else MTIME + chance.randint(0, 40) * SECOND // 2
    return Row(
        path=path,
        kind=kind,
        size=0 if kind is Kind.FOLDER else size,
        mtime_ns=mtime,
        ctime_ns=chance.choice([None, MTIME + chance.randint(-40, 40) * SECOND]),
        target=b"to %d" % size if kind is Kind.LINK else None,
        digest=bytes([size, chance.randint(0, 1)]) if kind is Kind.FILE and chance.random() < DIGESTED else None,
    )


def _listed(rows: Iterable[Row], lacks: frozenset[str]) -> tuple[Row, ...]:
    """Rows as a listing shows them that lacks these."""
    shown = [row for row in rows if "kinds" not in lacks or row.kind is Kind.FILE]
    if "mtime" in lacks:
        shown = [replace(row, mtime_ns=0) for row in shown]
    if "size" in lacks:
        shown = [replace(row, size=0) for row in shown]
    return tuple(replace(row, target=None) if "targets" in lacks else row for row in shown)


def _kept(chance: Random, row: Row, keeps: str, amount: int) -> Row:
    """A row as a copy of this kind shows it."""
    if keeps == "times" or not 0 <= row.mtime_ns < 2**62:
        return row
    if keeps == "steps":
        return replace(row, mtime_ns=row.mtime_ns // (STEPS[amount % len(STEPS)]) * STEPS[amount % len(STEPS)])
    if keeps == "no times":
        return replace(row, mtime_ns=row.mtime_ns + chance.randint(1, 10**15))
    return replace(row, mtime_ns=row.mtime_ns + amount * HOUR_NS)


@st.composite
def pairs(draw: st.DrawFn) -> Pair:
    """The shape is drawn, the rows come from a seed: drawn one by one, nearly all trees would be tiny."""
    chance = Random(draw(st.integers(0, 2**32)))
    keeps = draw(st.sampled_from(["times", "steps", "no times", "another zone"]))
    amount, rows = draw(st.integers(-27, 27)), draw(st.sampled_from([0, 1, 3, 8, 40, 120]))
    lost, changed, own, odd = (draw(st.sampled_from([0, 0, 0, 0.02, 0.3])) for _ in range(4))
    paths = sorted({_path(chance) for _ in range(rows)})
    original = [_row(chance, path, odd / 2) for path in paths]
    copy: dict[bytes, Row] = {}
    for row in original:
        fate = chance.random()
        path = row.path if fate >= lost else b"B/" + row.path
        copy[path] = _kept(chance, replace(row, path=path), keeps, amount)
        if fate < lost / 2:
            del copy[path]
        if chance.random() < changed / 4 and path in copy and row.digest:
            copy[path] = replace(copy[path], digest=chance.choice([None, b"bent"]))
        if chance.random() < changed:
            new = _row(chance, row.path, odd)
            copy[row.path] = _kept(chance, new, keeps, amount) if keeps == "steps" else new
    for _ in range(int(own * rows)):
        path = _path(chance)
        copy.setdefault(path, _row(chance, path, odd))
    some = st.sampled_from([(), (), (b"",), (b"a", b"a/b"), (b"b", b"nowhere/at all"), (b"a.",)])
    lacks = draw(st.sampled_from([(), (), (), *([word] for word in LACKS), LACKS]))
    offset = st.sampled_from([None, timedelta(0), timedelta(seconds=3), timedelta(minutes=-6)])
    return Pair(
        original=tuple(original),
        copy=_listed(copy.values(), frozenset(lacks)),
        lacks=frozenset(lacks),
        blind_original=draw(some),
        blind_copy=draw(some),
        patterns=tuple(draw(st.lists(st.sampled_from(PATTERNS), max_size=3))),
        offsets=(draw(offset), draw(offset)),
        one_box=draw(st.booleans()),
    )


@contextmanager
def _small_groups() -> Iterator[None]:
    """Cut groups of a few rows, so that small trees have many."""
    with patch.multiple(store_groups, CUT_EVERY=4, LEAST_ROWS=2, MOST_ROWS=9):
        yield


def _manifests(folder: Path, pair: Pair) -> tuple[Manifest, Manifest]:
    heron = Address(volume=VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool")), path="mirror")
    with _small_groups():
        said: dict[str, Any] = {
            "blind": _blind(pair.blind_original),
            "clock_offset": pair.offsets[0],
            "digest": "sha256",
        }
        original = a_manifest(folder, pair.original, **said)
        there = original.origin.address if pair.one_box else heron
        said |= {"blind": _blind(pair.blind_copy), "clock_offset": pair.offsets[1], "lacks": pair.lacks}
        copy = a_manifest(folder, pair.copy, address=there, **said)
    return original, copy


def _blind(paths: tuple[bytes, ...]) -> list[Blind]:
    return [Blind(path=path, why="permission denied") for path in paths]


def _model(pair: Pair, original: Manifest, copy: Manifest) -> Expected:
    leaving = LeavingOut(pair.patterns)
    return expected(
        Tree(rows=pair.original, blind=pair.blind_original, started=STARTED),
        Tree(rows=pair.copy, blind=pair.blind_copy, started=STARTED, lacks=pair.lacks),
        max(side.census.granularity_ns for side in (original, copy) if "mtime" not in side.origin.lacks),
        clock_offset_ns(original, copy),
        lambda row: leaving.which(row.path, is_folder=row.kind is Kind.FOLDER) != KEPT,
    )


def _said(matched: Matched) -> Expected:
    rows = [(row.path, row.row_class, row.blind, row.original, row.copy) for row in differing_rows(matched.relation)]
    assert len(rows) == matched.rows
    figures = {field.name: getattr(matched, field.name) for field in fields(Expected) if field.name != "rows"}
    return Expected(rows=rows, **figures)


@settings(max_examples=70, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(pair=pairs(), window=st.sampled_from([1, 3, 10, 1 << 18]), anchors=st.sampled_from([1, 3, 32]))
def test_a_comparison_by_windows_says_what_a_row_by_row_comparison_says(pair: Pair, window: int, anchors: int) -> None:
    with TemporaryDirectory() as name, patch.object(alike, "ANCHORS", anchors):
        original, copy = _manifests(Path(name), pair)
        work = Workspace(folder=Path(name), memory=MEMORY, seed=SEED, window=window)
        matched = match(original, copy, leave_out=pair.patterns, work=work)

        assert _said(matched) == _model(pair, original, copy)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(pair=pairs())
def test_skipping_groups_that_are_equal_changes_no_figure(pair: Pair) -> None:
    with TemporaryDirectory() as name:
        original, copy = _manifests(Path(name), pair)
        work = Workspace(folder=Path(name), memory=MEMORY, seed=SEED, window=5)
        skipping = _said(match(original, copy, leave_out=pair.patterns, work=work))
        with patch.object(compare, "equal_groups", return_value=()):
            whole = _said(match(original, copy, leave_out=pair.patterns, work=work))

        assert skipping == whole


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(pair=pairs())
def test_without_digests_what_differed_in_content_is_at_best_unproven_or_held_by_size_and_time(pair: Pair) -> None:
    """Taking a digest away proves nothing: no more is held with proof than the digests did not speak against."""
    with TemporaryDirectory() as name:
        work = Workspace(folder=Path(name), memory=MEMORY, seed=SEED)
        found = match(*_manifests(Path(name), pair), leave_out=pair.patterns, work=work)
        bare = replace(pair, copy=tuple(replace(row, digest=None) for row in pair.copy))
        less = match(*_manifests(Path(name), bare), leave_out=pair.patterns, work=work)

        if pair.lacks & {"mtime", "size"}:
            assert less.same.files - less.unproven.files <= found.same.files - found.unproven.files
        assert less.content == Tally()
