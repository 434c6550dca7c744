"""The comparison once more, in plain Python over lists of rows: slow, obvious, and without any of its parts."""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from coverage_audit.evidence.difference import Mode, RowClass, Tally
from coverage_audit.evidence.manifest import Kind, Row

EPOCH_ORDINAL = datetime.fromisoformat("1970-01-01T00:00:00+00:00")
HOUR_NS = 3600 * 10**9
OTHERS = {RowClass.OLDER, RowClass.NEWER, RowClass.OTHER}
CHANGED = {*OTHERS, RowClass.CONTENT}
Differing = tuple[bytes, RowClass, bool, Row | None, Row | None]


@dataclass(frozen=True, kw_only=True)
class Tree:
    """One side: its rows, its blind places, the moment its listing began, what the listing lacks."""

    rows: Sequence[Row]
    blind: Sequence[bytes]
    started: datetime
    lacks: frozenset[str] = frozenset()

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

    rows: list[Differing]
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
    content: Tally
    unproven: Tally


def expected(
    original: Tree, copy: Tree, granularity_ns: int, offset_ns: int | None, left: Callable[[Row], bool]
) -> Expected:
    """Compare two trees row by row."""
    mine = {row.path: row for row in original.rows if not left(row)}
    other = {row.path: row for row in copy.rows if not left(row)}
    plain = _plain(copy, granularity_ns)
    mode = _mode(original, copy, mine, other, plain, offset_ns) if plain.full else plain
    rows: list[Differing] = []
    held: list[Row] = []
    unproven: list[Row] = []
    for path in sorted({*mine, *other}, key=lambda path: path.split(b"/")):
        one, two = mine.get(path), other.get(path)
        found = _class(original, copy, one, two, mode)
        if found is None:
            assert one is not None
            held.append(one)
            unproven += [one] * _is_unproven(copy, one, two)
        elif not (found is RowClass.EXTRA and original.blind_at(path)):
            rows.append((path, found, found is RowClass.MISSING and copy.blind_at(path), one, two))
    rows, there = _respelled(original, copy, rows, mode)
    held += [one for one, _ in there]
    unproven += [one for one, two in there if _is_unproven(copy, one, two)]
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
        content=_tally([one for _, found, _, one, _ in rows if found is RowClass.CONTENT and one]),
        unproven=_tally(unproven),
    )


def _is_unproven(copy: Tree, one: Row, two: Row | None) -> bool:
    if two is None or one.kind != two.kind:
        return one.kind in {Kind.LINK, Kind.OTHER}
    if one.kind is Kind.LINK:
        return "targets" in copy.lacks
    if one.kind is not Kind.FILE or (one.digest and two.digest):
        return False
    return "size" in copy.lacks or ("mtime" in copy.lacks and one.size > 0)


def _respelled(
    original: Tree, copy: Tree, rows: list[Differing], mode: Mode
) -> tuple[list[Differing], list[tuple[Row, Row]]]:
    """Pair rows whose names fold into one: those that are held first, each row once."""
    if not any(found is RowClass.MISSING for _, found, *_ in rows):
        return rows, []
    pairs = [
        (i, j, _class(original, copy, one, two, mode))
        for i, (path, found, blind, one, _) in enumerate(rows)
        for j, (there, other, _, _, two) in enumerate(rows)
        if i != j and one and two and one.kind == two.kind and _fold(path) == _fold(there) is not None
        if not blind and found in {RowClass.MISSING, *OTHERS} and other in {RowClass.EXTRA, *OTHERS}
    ]
    first = _each_once([(i, j) for i, j, found in pairs if found is None])
    used = {i for i, _ in first}, {j for _, j in first}
    alone = [
        (i, j)
        for i, j, found in pairs
        if found and i not in used[0] and j not in used[1]
        if rows[i][1] is RowClass.MISSING and rows[j][1] is RowClass.EXTRA
    ]
    second = dict(_each_once(alone))
    classes = {(i, j): found for i, j, found in pairs}
    left: list[Differing] = []
    for number, (path, found, blind, one, two) in enumerate(rows):
        if number in second:
            there = rows[second[number]][4]
            other = classes[number, second[number]]
            assert there is not None
            assert other is not None
            left.append((path, other, blind, one, replace(there, path=path)))
        else:
            mine = one if number not in used[0] else None
            theirs = two if number not in used[1] and number not in second.values() else None
            if mine and theirs:
                left.append((path, found, blind, mine, theirs))
            elif mine or theirs:
                left.append((path, RowClass.MISSING if mine else RowClass.EXTRA, blind, mine, theirs))
    held = [(rows[i][3], rows[j][4]) for i, j in first]
    return left, [(one, two) for one, two in held if one and two]


def _each_once(pairs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    firsts = {i: (i, j) for i, j in reversed(pairs)}, {j: (i, j) for i, j in reversed(pairs)}
    return [(i, j) for i, j in pairs if firsts[0][i] == firsts[1][j] == (i, j)]


def _fold(path: bytes) -> str | None:
    try:
        text = unicodedata.normalize("NFD", unicodedata.normalize("NFD", path.decode()).casefold())
    except UnicodeDecodeError:
        return None
    return "/".join(name.rstrip(". ") for name in text.split("/"))


def _class(original: Tree, copy: Tree, one: Row | None, two: Row | None, mode: Mode) -> RowClass | None:
    if two is None:
        return None if one and one.kind is not Kind.FILE and "kinds" in copy.lacks else RowClass.MISSING
    if one is None:
        return RowClass.EXTRA
    if one.kind != two.kind:
        unlisted = "kinds" in copy.lacks and two.kind is Kind.FILE and one.kind is not Kind.FOLDER
        return None if unlisted else RowClass.OTHER
    if one.kind is Kind.LINK:
        return None if one.target == two.target or "targets" in copy.lacks else RowClass.OTHER
    if one.kind is not Kind.FILE:
        return None
    return _class_of_files(original, copy, one, two, mode)


def _class_of_files(original: Tree, copy: Tree, one: Row, two: Row, mode: Mode) -> RowClass | None:
    apart = two.mtime_ns + mode.shift // timedelta(microseconds=1) * 1000 - one.mtime_ns
    odd = original.odd(one) or copy.odd(two)
    times = "mtime" not in copy.lacks
    same_time = times and abs(apart) < mode.granularity_ns
    same_size = one.size == two.size or "size" in copy.lacks
    if same_size and one.digest and two.digest:
        if one.digest == two.digest:
            return None
        if same_time:
            return RowClass.CONTENT
    elif same_size:
        if same_time or not times:
            return None
        if mode.by_size and mode.offset_ns is not None and not odd and two.mtime_ns + mode.offset_ns >= one.mtime_ns:
            return None
    if odd or same_time or not times:
        return RowClass.OTHER
    return RowClass.OLDER if apart < 0 else RowClass.NEWER


def _plain(copy: Tree, granularity_ns: int) -> Mode:
    return Mode(
        granularity_ns=granularity_ns,
        times="mtime" not in copy.lacks,
        sizes="size" not in copy.lacks,
        targets="targets" not in copy.lacks,
        kinds="kinds" not in copy.lacks,
        digest="sha256",
    )


def _mode(
    original: Tree,
    copy: Tree,
    mine: dict[bytes, Row],
    other: dict[bytes, Row],
    plain: Mode,
    offset_ns: int | None,
) -> Mode:
    sized, later, hours = 0, 0, Counter[int]()
    for path, one in mine.items():
        two = other.get(path)
        if two is None or {one.kind, two.kind} != {Kind.FILE} or one.size != two.size:
            continue
        sized += 1
        apart = two.mtime_ns - one.mtime_ns
        if original.odd(one) or copy.odd(two) or abs(apart) < plain.granularity_ns:
            continue
        later += apart > 0
        for hour in range(-26, 27):
            if hour not in {-24, 0, 24} and abs(apart - hour * HOUR_NS) < plain.granularity_ns:
                hours[hour] += 1
    shifts = [hour for hour, count in hours.items() if count >= 3 and count >= 0.95 * sized]
    if shifts:
        return replace(plain, shift=timedelta(hours=-shifts[0]))
    if later >= 3 and later >= 0.95 * sized:
        return replace(plain, by_size=True, offset_ns=offset_ns)
    return plain


def _under_old_name(rows: list[Differing], mode: Mode) -> Tally:
    if not mode.full:
        return Tally()
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
