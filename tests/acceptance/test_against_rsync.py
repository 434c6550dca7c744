"""The comparison against `rsync -n -i -r -l -t -D --delete` on the same trees: what it would send, and what delete.

With `--modify-window=-1` it compares times to the nanosecond, as we do. Times of folders and links are left aside.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from coverage_audit.comparison.compare import match
from coverage_audit.comparison.rows import differing_rows
from coverage_audit.comparison.types import Workspace
from coverage_audit.evidence.difference import RowClass
from coverage_audit.evidence.manifest import Kind, Row
from tests.builders.manifests import MEMORY, SEED, a_manifest

NAMES = [
    b"field notes",
    b"-rf",
    b"new\nline",
    b"tab\tand 'quote\"",
    b"\xff\xfe\x80",
    b"$(reboot)",
    b"<script>",
    b"\x1b[31m",
    "\u202egnp.txt".encode(),
    b"\\#012",
    b"a",
    b"a.",
    b"a-",
]


def _grow(tree: Path, chance: Random, entries: int) -> None:
    for _ in range(entries):
        place = tree.joinpath(*map(os.fsdecode, chance.choices(NAMES, k=chance.randint(1, 3))))
        if any(parent.is_symlink() or (parent.exists() and not parent.is_dir()) for parent in place.parents):
            continue
        if os.path.lexists(place):
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        _make(place, chance)


def _make(place: Path, chance: Random) -> None:
    what = chance.randrange(8)
    if what == 0:
        place.mkdir()
    elif what == 1:
        place.symlink_to(os.fsdecode(chance.choice(NAMES)))
    elif what == 2:
        os.mkfifo(place)
    else:
        place.write_bytes(chance.randbytes(chance.randint(0, 20)))
        _touch(place, chance)


def _touch(place: Path, chance: Random) -> None:
    moment = 1_700_000_000_000_000_000 + chance.randint(0, 5) * 500_000_001
    os.utime(place, ns=(moment, moment))


def _spoil(tree: Path, chance: Random) -> None:
    """Let the copy fall behind, run ahead and go wrong in every way that a tree can."""
    for place in sorted(tree.rglob("*"), key=bytes):
        if not os.path.lexists(place) or chance.random() > 0.4:
            continue
        kind = chance.randrange(4)
        if kind == 0 or place.is_symlink() or place.is_fifo():
            _remove(place)
            if chance.random() < 0.6:
                _make(place, chance)
        elif place.is_file() and kind == 1:
            _touch(place, chance)
        elif place.is_file():
            place.write_bytes(chance.randbytes(chance.randint(0, 20)))
            _touch(place, chance)
    _grow(tree, chance, 10)


def _remove(place: Path) -> None:
    if place.is_dir() and not place.is_symlink():
        shutil.rmtree(place)
    else:
        place.unlink()


def _rows(tree: Path) -> Iterator[Row]:
    """A walk of our own, so that nothing here rests on the collectors."""
    for place in tree.rglob("*"):
        seen = place.lstat()
        kind = Kind.OTHER
        if place.is_symlink():
            kind = Kind.LINK
        elif place.is_dir():
            kind = Kind.FOLDER
        elif place.is_file():
            kind = Kind.FILE
        yield Row(
            path=bytes(place.relative_to(tree)),
            kind=kind,
            size=0 if kind is Kind.FOLDER else seen.st_size,
            mtime_ns=seen.st_mtime_ns,
            ctime_ns=seen.st_ctime_ns,
            target=os.fsencode(place.readlink()) if kind is Kind.LINK else None,
        )


def _rsync_says(original: Path, copy: Path) -> tuple[set[bytes], set[bytes]]:
    """Return the paths that it would send or make, and those that it would only delete."""
    options = ["-n", "-i", "-r", "-l", "-t", "-D", "--delete", "--modify-window=-1", "--out-format=%i|%n"]
    plain = {**os.environ, "LC_ALL": "C"}
    done = subprocess.run(["rsync", *options, f"{original}/", f"{copy}/"], capture_output=True, check=True, env=plain)
    sent, deleted = set(), set()
    for line in filter(None, done.stdout.split(b"\n")):
        said, name = line.split(b"|", 1)
        path = re.sub(rb"\\#(\d{3})", lambda found: bytes([int(found[1], 8)]), name).rstrip(b"/")
        if said.startswith(b"*deleting"):
            deleted.add(path)
        elif path != b"." and not _only_time_of_folder_or_link(said):
            sent.add(path)
    return sent, deleted - sent


def _only_time_of_folder_or_link(said: bytes) -> bool:
    return said[0:1] == b"." and said[1:2] in {b"d", b"L", b"S", b"D"}


@pytest.mark.parametrize("seed", range(12))
def test_what_differs_is_what_rsync_would_send_or_delete(seed: int, tmp_path: Path) -> None:
    chance = Random(seed)
    original, copy = tmp_path / "original", tmp_path / "copy"
    original.mkdir()
    _grow(original, chance, 60)
    subprocess.run(["cp", "--archive", original, copy], check=True)
    _spoil(copy, chance)

    sides = [a_manifest(tmp_path, _rows(tree)) for tree in (original, copy)]
    work = Workspace(folder=tmp_path, memory=MEMORY, seed=SEED, window=20)
    matched = match(sides[0], sides[1], leave_out=(), work=work)
    differing = list(differing_rows(matched.relation))
    extra = {row.path for row in differing if row.row_class is RowClass.EXTRA}
    lacking = {row.path for row in differing if row.row_class is not RowClass.EXTRA}

    assert matched.mode.granularity_ns == 1
    assert (lacking, extra) == _rsync_says(original, copy)
    assert len(lacking) + len(extra) > 3
