"""Random histories of an original and of a copy that lags, fails and forgets, against a model that knows the truth.

The model keeps every version with the moment at which it came; the comparison sees only what audits saw. What it
says of a start must then enclose the true one, and nothing that is truly too old may pass for pending.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coverage_audit.comparison.rows import DifferingRow
from coverage_audit.comparison.terms import FIRST_AUDIT_GRACE
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.difference import RowClass, RowVerdict
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.manifest import Kind, Row
from coverage_audit.reckoning.keeping_up import lacks_most, takes_nothing_up
from tests.builders.manifests import STARTED
from tests.builders.stories import MAX_AGE, Story

PATHS = tuple(b"field/%d" % number for number in range(10))
ARCHIVE = tuple(Row(path=b"archive/%d" % n, kind=Kind.FILE, size=9000, mtime_ns=n, ctime_ns=n) for n in range(30))
STEP = timedelta(minutes=1)


@dataclass(frozen=True)
class Version:
    """What lay at a path: `since` is when it came there, `born` when the path did."""

    number: int
    mtime: datetime
    ctime: datetime
    since: datetime
    born: datetime

    def row(self, path: bytes) -> Row:
        return Row(
            path=path,
            kind=Kind.FILE,
            size=100 + self.number,
            mtime_ns=to_ns(self.mtime),
            ctime_ns=to_ns(self.ctime),
        )


Tree = dict[bytes, Version]


@dataclass(frozen=True)
class Start:
    """The true start. Two instants where nobody saw that there was nothing for a while: either is true."""

    early: datetime
    late: datetime


@dataclass
class World:
    """An original with its whole past, and a copy."""

    now: datetime
    original: Tree = field(default_factory=dict)
    copy: Tree = field(default_factory=dict)
    copy_worked: datetime = STARTED - timedelta(days=400)
    past: dict[bytes, list[tuple[datetime, Version | None]]] = field(default_factory=dict)
    snapshots: list[Tree] = field(default_factory=list)
    versions: int = 0

    moved: set[bytes] = field(default_factory=set)

    def write(self, path: bytes, *, old_mtime: bool, moved: bool) -> None:
        """Create or edit. An arrival may bear an old mtime; what is moved in keeps an old ctime too."""
        self.versions += 1
        before = self.original.get(path)
        long_ago = STARTED - timedelta(days=900) + self.versions * STEP
        version = Version(
            number=self.versions,
            mtime=long_ago if old_mtime and before is None else self.now,
            ctime=long_ago if moved and before is None else self.now,
            since=self.now,
            born=self.now if before is None else before.born,
        )
        if version.ctime < self.now:
            self.moved.add(path)
        self._become(path, version)

    def delete(self, path: bytes) -> None:
        if path in self.original:
            self._become(path, None)

    def _become(self, path: bytes, version: Version | None) -> None:
        self.past.setdefault(path, []).append((self.now, version))
        if version is None:
            del self.original[path]
        else:
            self.original[path] = version

    def mirror(self, paths: tuple[bytes, ...]) -> None:
        self.copy_worked = self.now
        for path in paths:
            if path in self.original:
                self.copy[path] = replace(self.original[path], ctime=self.now)
            else:
                self.copy.pop(path, None)

    def original_rows(self) -> list[Row]:
        return [*ARCHIVE, *(version.row(path) for path, version in self.original.items())]

    def copy_rows(self) -> list[Row]:
        worked = to_ns(self.copy_worked)
        sign = Row(path=b"archive/0", kind=Kind.FILE, size=9000, mtime_ns=0, ctime_ns=worked)
        return [*ARCHIVE[1:], sign, *(version.row(path) for path, version in self.copy.items())]

    def gone_past(self, path: bytes, held: Version) -> Start:
        """When the original went past a held version; the latter start, if it had nothing for a while since."""
        changes = self.past[path]
        same = [number for number, (_, version) in enumerate(changes) if version and version.number == held.number]
        after = changes[same[-1] + 1 :]
        nothing_between = any(version is None for _, version in after)
        return Start(after[0][0], self.existing_since(path) if nothing_between else after[0][0])

    def arrived(self, path: bytes, after: datetime | None) -> Start:
        """When a path came that was not there at an instant (None: whenever); the latter, if it came more than once."""
        late = self.existing_since(path)
        if after is None:
            return Start(late, late)
        return Start(min(when for when, version in self.past[path] if version and when > after), late)

    def existing_since(self, path: bytes) -> datetime:
        changes = self.past[path]
        since = changes[-1][0]
        for when, version in reversed(changes):
            if version is None:
                break
            since = when
        return since


@dataclass
class Known:
    """What the model remembers of the last comparison: each lacking path's held version and true start."""

    at: datetime
    originals: Tree
    held: Tree
    starts: dict[bytes, Start]
    went_back: dict[bytes, bool]


def judge(world: World, last: Known | None, seen_without: set[bytes]) -> Known:
    """Say of every lacking path since when, and whether the copy went back. `seen_without`: see `lost`."""
    known = Known(world.now, dict(world.original), dict(world.copy), {}, {})
    for path, version in world.original.items():
        held = world.copy.get(path)
        if held is not None and held.number == version.number:
            continue
        new = last is not None and path not in last.originals
        known.starts[path] = (
            world.arrived(path, last.at if last and new else None) if held is None else world.gone_past(path, held)
        )
        known.went_back[path] = False
        if last is None or path not in last.originals:
            continue
        before = last.held.get(path)
        was_lacking = path in last.starts
        same = was_lacking and (before and before.number) == (held and held.number)
        if not was_lacking and held is not None:  # held at the last comparison: what it lacks came later
            late = min((when for when, _ in world.past[path] if when > last.at), default=last.at)
            known.starts[path] = Start(known.starts[path].early, max(late, known.starts[path].late))
        newest = min(before.mtime, last.originals[path].mtime) if before else None
        fell_back = held is not None and newest is not None and held.mtime < newest
        if same:
            known.starts[path], known.went_back[path] = last.starts[path], last.went_back[path]
        elif held is None:
            known.went_back[path] = was_lacking or path not in seen_without
        elif was_lacking and held.mtime > version.mtime:  # never shown to be held: its start may be kept
            known.starts[path] = Start(last.starts[path].early, known.starts[path].late)
            known.went_back[path] = last.went_back[path] or fell_back
        else:
            known.went_back[path] = fell_back
    return known


def some_work(world: World, chance: random.Random) -> None:
    for path in chance.sample(PATHS, chance.randint(0, 4)):
        world.now += STEP
        if chance.random() < 0.7:
            world.write(path, old_mtime=chance.random() < 0.4, moved=chance.random() < 0.3)
        else:
            world.delete(path)
    world.now += STEP
    world.snapshots.append(dict(world.original))
    doing = chance.random()
    if doing < 0.35:
        world.mirror(PATHS)
    elif doing < 0.6:
        world.mirror(tuple(chance.sample(PATHS, 4)))
    elif doing < 0.75:
        world.copy.pop(chance.choice(PATHS), None)
    elif doing < 0.9:
        older = chance.choice(world.snapshots)
        world.copy.update({path: older[path] for path in world.copy if path in older})


def check(row: DifferingRow, known: Known, world: World, *, first: datetime, grace: bool) -> None:
    """One row against the truth."""
    start, now = known.starts[row.path], world.now
    ctime_lies = row.earliest_ns is None and row.path in world.moved  # nothing shows it: it counts too early
    of_first_audit = row.first_compared_ns == to_ns(first)
    assert row.went_back == known.went_back[row.path], row
    if not row.went_back:
        assert row.earliest_ns is None or row.earliest_ns <= to_ns(start.late), row
        assert row.latest_ns is not None
        assert ctime_lies or to_ns(start.early) <= row.latest_ns, row
    if row.verdict is RowVerdict.PENDING:
        assert grace
        assert not row.went_back
        assert now - start.late <= MAX_AGE or (of_first_audit and now - first <= FIRST_AUDIT_GRACE), row
    elif row.verdict is RowVerdict.COUNTS and grace and not of_first_audit:
        assert row.went_back or ctime_lies or now - start.early > MAX_AGE, row
    elif row.verdict is RowVerdict.BETWEEN:
        assert grace


def run(chance: random.Random, skipped: int | None = None) -> dict[bytes, tuple[DifferingRow, bool]]:
    """A whole history; every comparison is checked. Returns the last one's rows, and whether there was grace."""
    births = chance.random() < 0.5
    with TemporaryDirectory() as folder:
        story = Story(folder=Path(folder))
        world = World(now=STARTED - timedelta(days=10))
        last: Known | None = None
        seen_without: set[bytes] = set()
        grace, first = True, world.now
        for number in range(chance.randint(4, 7)):
            for _ in range(chance.randint(1, 4)):
                world.now += timedelta(hours=chance.randint(1, 9), minutes=chance.randint(1, 50))
                some_work(world, chance)
            kind = chance.random()
            if number == skipped or kind < 0.15:
                continue
            if kind < 0.3 and last is not None:
                story.see_original(world.now, world.original_rows())
                seen_without |= {path for path in PATHS if path not in world.original}
                continue

            def look(paths: tuple[bytes, ...], world: World = world) -> tuple[SecondLook, ...]:
                return tuple(looked(path, world.original[path], known=births) for path in paths)

            first = world.now if last is None else first
            seen = story.audit(world.now, world.original_rows(), world.copy_rows(), look=look)
            known = judge(world, last, seen_without)
            rows = {path: row for path, row in story.rows().items() if row.row_class is not RowClass.EXTRA}
            assert set(rows) == set(known.starts)
            grace = not takes_nothing_up(seen.take_up, now=world.now, max_age=MAX_AGE) and not lacks_most(
                seen.original, seen.missing, seen.under_old_name
            )
            for row in rows.values():
                check(row, known, world, first=first, grace=grace)
            last, seen_without = known, set()
        return {path: (row, grace) for path, row in story.rows().items()} if last else {}


def looked(path: bytes, version: Version, *, known: bool) -> SecondLook:
    row = version.row(path)
    birth = to_ns(version.born) if known else None
    return SecondLook(path=path, size=row.size, mtime_ns=row.mtime_ns, ctime_ns=row.ctime_ns, birth_ns=birth)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32))
def test_a_start_encloses_the_truth_and_nothing_too_old_is_pending(seed: int) -> None:
    run(random.Random(seed))


@pytest.mark.parametrize("seed", range(3))
def test_a_missing_audit_never_makes_what_counts_pending(seed: int) -> None:
    whole = run(random.Random(seed))
    for skipped in (1, 2):
        for path, (row, grace) in run(random.Random(seed), skipped).items():
            before, had_grace = whole.get(path, (row, grace))
            if before.verdict is RowVerdict.COUNTS and had_grace and not before.went_back:
                assert row.verdict is not RowVerdict.PENDING, row
