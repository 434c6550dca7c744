"""What became of each file of a drill, by what came back, what its original holds, and what is stored of that."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.audits.drill_choice import Choice
from coverage_audit.audits.drill_fates import Fates, Originals, fates_of
from coverage_audit.comparison.drawing import Compared, Drawn, Listed
from coverage_audit.evidence.content import HashedFile, HashedFiles, NotHashed, StoredDigest, Wanted
from coverage_audit.evidence.drilling import Fate, FileBack, FilesBack
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.manifest import Census, CompleteManifest
from tests.builders.manifests import an_origin

RIGHT, WRONG = b"\1" * 32, b"\2" * 32
AT = datetime(2026, 11, 20, tzinfo=UTC)
PATH = b"take.wav"
LISTED = Listed(size=5, mtime_ns=7, ctime_ns=9)
UNREACHABLE = Gap(subject="kestrel", kind=GapKind.UNREACHABLE, detail="no route", at=AT)


def chosen(*missing: bytes) -> Choice:
    listing = CompleteManifest(
        file=Path("none"), origin=an_origin(), census=Census(entries=1, files=1, bytes=5, granularity_ns=1)
    )
    return Choice(
        compared=Compared(original=listing, copy=listing, relation=Path("none"), leave_out=()),
        files={PATH: Drawn(rank=0, path=PATH, there=PATH, original=LISTED, copy=LISTED)},
        named=0,
        missing=missing,
    )


def came(digest: bytes | None = RIGHT, **values: object) -> FilesBack:
    digests = (("sha256", digest), ("md5", digest[:16])) if digest is not None else ()
    one = replace(FileBack(path=PATH, size=5, digests=digests), **values)  # type: ignore[arg-type]
    return FilesBack(back=(one,), read=5, seconds=1.0)


def read_now(digest: bytes | None) -> HashedFiles:
    """The original as it was read, or another version by now."""
    if digest is None:
        return HashedFiles(algorithm="sha256", hashed=(), not_hashed=(NotHashed(path=PATH, why="it changed"),))
    one = HashedFile(path=PATH, size=5, mtime_ns=7, ctime_ns=9, digest=digest)
    return HashedFiles(algorithm="sha256", hashed=(one,))


def stored(digest: bytes, algorithm: str = "sha256", **values: object) -> StoredDigest:
    found = StoredDigest(
        path=PATH, size=5, mtime_ns=7, ctime_ns=9, algorithm=algorithm, digest=digest, hashed_at=AT, again_at=AT
    )
    return replace(found, **values)  # type: ignore[arg-type]


def fate(back: FilesBack, now: HashedFiles | Gap, *known: StoredDigest) -> Fate:
    fates: Fates = fates_of(chosen(), back, Originals(now=now, stored={PATH: known}))
    if PATH in fates.restored and not fates.incidents:
        return Fate.RESTORED
    (incident,) = fates.incidents
    assert (incident.fate is Fate.ORIGINAL) is (PATH in fates.restored)
    return incident.fate


@pytest.mark.parametrize(
    ("back", "now", "known", "expected"),
    [
        (came(), read_now(RIGHT), (), Fate.RESTORED),
        (came(), read_now(RIGHT), (stored(WRONG),), Fate.RESTORED),
        (came(WRONG), read_now(RIGHT), (), Fate.DAMAGED),
        (came(WRONG), read_now(RIGHT), (stored(RIGHT),), Fate.DAMAGED),
        (came(), read_now(WRONG), (stored(RIGHT),), Fate.ORIGINAL),
        (came(), read_now(WRONG), (stored(WRONG),), Fate.DAMAGED),
        (came(), read_now(WRONG), (), Fate.DAMAGED),
        (came(), read_now(None), (), Fate.CHANGED),
        (came(), read_now(None), (stored(RIGHT),), Fate.RESTORED),
        (came(WRONG), read_now(None), (stored(RIGHT),), Fate.DAMAGED),
        (came(), UNREACHABLE, (), Fate.UNHELD),
        (came(), UNREACHABLE, (stored(RIGHT),), Fate.RESTORED),
        (came(WRONG), UNREACHABLE, (stored(RIGHT),), Fate.DAMAGED),
        (came(), UNREACHABLE, (stored(RIGHT[:16], "md5"),), Fate.RESTORED),
        (came(), UNREACHABLE, (stored(RIGHT), stored(WRONG[:16], "md5")), Fate.DAMAGED),
        (came(), UNREACHABLE, (stored(RIGHT, "sha512"),), Fate.UNHELD),
        (came(), UNREACHABLE, (stored(RIGHT, size=6),), Fate.UNHELD),
        (came(), UNREACHABLE, (stored(RIGHT, mtime_ns=8),), Fate.UNHELD),
        (came(), UNREACHABLE, (stored(RIGHT, ctime_ns=8),), Fate.UNHELD),
        (came(), UNREACHABLE, (stored(RIGHT, ctime_ns=None),), Fate.RESTORED),
        (came(), HashedFiles(algorithm="sha256", hashed=()), (), Fate.UNHELD),
        (came(None, why="Input/output error"), read_now(RIGHT), (), Fate.UNREAD),
        (came(None, why="it changed", is_another=True), read_now(RIGHT), (), Fate.CHANGED),
    ],
)
def test_a_file_is_restored_only_by_what_was_read_or_is_stored_of_its_original(
    back: FilesBack, now: HashedFiles | Gap, known: tuple[StoredDigest, ...], expected: Fate
) -> None:
    assert fate(back, now, *known) is expected


def test_what_was_not_reached_and_what_is_not_held_are_not_read() -> None:
    left = FilesBack(back=(), left=(Wanted(path=PATH, size=5, mtime_ns=7),), stopped=UNREACHABLE)
    fates = fates_of(chosen(b"other.wav"), left, Originals(now=read_now(RIGHT)))
    assert [(one.path, one.fate) for one in fates.incidents] == [(b"other.wav", Fate.UNREAD), (PATH, Fate.UNREAD)]
    assert fates.restored == {}
    assert "no route" in fates.incidents[1].why
