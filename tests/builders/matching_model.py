"""The comparison once more, in plain Python over lists of rows: slow, obvious, and without any of its parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from coverage_audit.evidence.difference import Mode, RowClass, Tally
from coverage_audit.evidence.manifest import Kind, Row

EPOCH_ORDINAL = datetime.fromisoformat("1970-01-01T00:00:00+00:00")
HOUR_NS = 3600 * 10**9
CHANGED = {RowClass.OLDER, RowClass.NEWER, RowClass.OTHER}


@dataclass(frozen=True, kw_only=True)
class Tree:
    """One side: its rows, its blind places, the moment its listing began."""

    rows: Sequence[Row]
    blind: Sequence[bytes]
    started: datetime

    def odd(self, row: Row) -> bool:
        """Whether a time is wrapped or wrong."""
        last = (self.started + timedelta(days=1) - EPOCH_ORDINAL) // timedelta(microseconds=1) * 1000
        return not 0 <= row.mtime_ns <= last

    def blind_at(self, path: bytes) -> bool:
        """Whether a path is or lies below a place that was not looked into."""
        return any(not place or path == place or path.startswith(place + b"/") for place in self.blind)


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What the comparison must say: the differing rows in tree order, and the figures."""

    rows: list[tuple[bytes, RowClass, bool, Row | None, Row | None]]
    mode: Mode
    total: Tally
    same: Tally
    missing: Tally
    changed: Tally
    extra: Tally
    left_out: Tally
    missing_blind: Tally
    folders_missing: int
    under_old_name: Tally
    newest_same_mtime_ns: int | None
    newest_same_arrival_ns: int | None


def expected(
    original: Tree, copy: Tree, granularity_ns: int, offset_ns: int | None, left: Callable[[Row], bool]
) -> Expected:
    """Compare two trees row by row."""
    mine = {row.path: row for row in original.rows if not left(row)}
    other = {row.path: row for row in copy.rows if not left(row)}
    mode = _mode(original, copy, mine, other, granularity_ns, offset_ns)
    rows: list[tuple[bytes, RowClass, bool, Row | None, Row | None]] = []
    held: list[Row] = []
    for path in sorted({*mine, *other}, key=lambda path: path.split(b"/")):
        one, two = mine.get(path), other.get(path)
        found = _class(original, copy, one, two, mode)
        if found is None:
            assert one is not None
            held.append(one)
        elif not (found is RowClass.EXTRA and original.blind_at(path)):
            rows.append((path, found, found is RowClass.MISSING and copy.blind_at(path), one, two))
    dated = [row for row in held if row.kind is Kind.FILE and not original.odd(row)]
    return Expected(
        rows=rows,
        mode=mode,
        total=_tally(list(mine.values())),
        same=_tally(held),
        missing=_tally([one for _, found, _, one, _ in rows if found is RowClass.MISSING and one]),
        changed=_tally([one for _, found, _, one, _ in rows if found in CHANGED and one]),
        extra=_tally([two for _, found, _, _, two in rows if found is RowClass.EXTRA and two]),
        left_out=_tally([row for row in original.rows if left(row)]),
        missing_blind=_tally([one for _, _, blind, one, _ in rows if blind and one]),
        folders_missing=sum(
            found is RowClass.MISSING and one.kind is Kind.FOLDER for _, found, _, one, _ in rows if one
        ),
        under_old_name=_under_old_name(rows, mode),
        newest_same_mtime_ns=max((row.mtime_ns for row in dated), default=None),
        newest_same_arrival_ns=max(
            (row.mtime_ns if row.ctime_ns is None else min(row.mtime_ns, row.ctime_ns) for row in dated), default=None
        ),
    )


def _class(original: Tree, copy: Tree, one: Row | None, two: Row | None, mode: Mode) -> RowClass | None:
    if two is None:
        return RowClass.MISSING
    if one is None:
        return RowClass.EXTRA
    if one.kind != two.kind:
        return RowClass.OTHER
    if one.kind is Kind.LINK:
        return None if one.target == two.target else RowClass.OTHER
    if one.kind is not Kind.FILE:
        return None
    return _class_of_files(original, copy, one, two, mode)


def _class_of_files(original: Tree, copy: Tree, one: Row, two: Row, mode: Mode) -> RowClass | None:
    apart = two.mtime_ns + mode.shift // timedelta(microseconds=1) * 1000 - one.mtime_ns
    odd = original.odd(one) or copy.odd(two)
    same_time = abs(apart) < mode.granularity_ns
    if one.size == two.size:
        if same_time:
            return None
        if mode.by_size and mode.offset_ns is not None and not odd and two.mtime_ns + mode.offset_ns >= one.mtime_ns:
            return None
    if odd or same_time:
        return RowClass.OTHER
    return RowClass.OLDER if apart < 0 else RowClass.NEWER


def _mode(
    original: Tree,
    copy: Tree,
    mine: dict[bytes, Row],
    other: dict[bytes, Row],
    granularity_ns: int,
    offset_ns: int | None,
) -> Mode:
    sized, later, hours = 0, 0, Counter[int]()
    for path, one in mine.items():
        two = other.get(path)
        if two is None or {one.kind, two.kind} != {Kind.FILE} or one.size != two.size:
            continue
        sized += 1
        apart = two.mtime_ns - one.mtime_ns
        if original.odd(one) or copy.odd(two) or abs(apart) < granularity_ns:
            continue
        later += apart > 0
        for hour in range(-26, 27):
            if hour not in {-24, 0, 24} and abs(apart - hour * HOUR_NS) < granularity_ns:
                hours[hour] += 1
    shifts = [hour for hour, count in hours.items() if count >= 3 and count >= 0.95 * sized]
    if shifts:
        return Mode(granularity_ns=granularity_ns, shift=timedelta(hours=-shifts[0]))
    if later >= 3 and later >= 0.95 * sized:
        return Mode(granularity_ns=granularity_ns, by_size=True, offset_ns=offset_ns)
    return Mode(granularity_ns=granularity_ns)


def _under_old_name(rows: list[tuple[bytes, RowClass, bool, Row | None, Row | None]], mode: Mode) -> Tally:
    shift = mode.shift // timedelta(microseconds=1) * 1000
    missing = [one for _, found, _, one, _ in rows if found is RowClass.MISSING and one and one.kind is Kind.FILE]
    extra = [two for _, found, _, _, two in rows if found is RowClass.EXTRA and two and two.kind is Kind.FILE]

    def alike(one: Row, two: Row) -> bool:
        return _name(one) == _name(two) and abs(two.mtime_ns + shift - one.mtime_ns) < mode.granularity_ns

    sought = Counter(_name(one) for one in missing if any(alike(one, two) for two in extra))
    found = Counter(_name(two) for two in extra if any(alike(one, two) for one in missing))
    both = sought & found
    return Tally(files=both.total(), bytes=sum(size * count for (_, size), count in both.items()))


def _name(row: Row) -> tuple[bytes, int]:
    return row.path.rsplit(b"/", 1)[-1], row.size


def _tally(rows: Sequence[Row]) -> Tally:
    files = [row for row in rows if row.kind is not Kind.FOLDER]
    return Tally(files=len(files), bytes=sum(row.size for row in files if row.kind is Kind.FILE))
