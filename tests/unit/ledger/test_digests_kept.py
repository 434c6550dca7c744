"""The digests of each tree's files, kept from one reading to the next."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from coverage_audit.estate.model import DeviceId
from coverage_audit.evidence.content import HashedFile
from coverage_audit.evidence.facts import GapKind
from coverage_audit.ledger.digest_book import DigestBook
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.opening import exclusive, open_ledger
from tests.builders.estate_file import read, spoiled
from tests.builders.questions import an_address

AT = datetime(2026, 11, 27, 3, 0, tzinfo=UTC)
LATER = AT + timedelta(days=30)
PLACE = an_address("kestrel:main/field-recordings")


@pytest.fixture
def folder(tmp_path: Path) -> StateFolder:
    folder = StateFolder(path=tmp_path / "state")
    folder.prepare()
    return folder


@pytest.fixture
def book(folder: StateFolder) -> DigestBook:
    return DigestBook(folder)


def hashed(path: bytes, content: bytes, *, mtime: int = 5, ctime: int | None = 7) -> HashedFile:
    return HashedFile(
        path=path, size=len(content), mtime_ns=mtime, ctime_ns=ctime, digest=hashlib.sha256(content).digest()
    )


def only_file(folder: StateFolder) -> Path:
    [file] = folder.digests.iterdir()
    return file


def test_what_was_read_is_remembered_with_when(book: DigestBook) -> None:
    first, other = hashed(b"a\xff/1.wav", b"one"), hashed(b"b", b"two", ctime=None)
    book.add(PLACE, "sha256", [other, first], AT)
    book.add(PLACE, "sha256", [first], LATER)

    known = book.lookup(PLACE, "sha256", [first.path, other.path, b"never read"])

    assert set(known) == {first.path, other.path}
    assert (known[first.path].digest, known[first.path].hashed_at, known[first.path].again_at) == (
        first.digest,
        AT,
        LATER,
    )
    assert (known[other.path].ctime_ns, known[other.path].again_at) == (None, AT)


def test_each_tree_and_each_algorithm_is_remembered_apart(book: DigestBook) -> None:
    one = hashed(b"a", b"one")
    book.add(PLACE, "sha256", [one], AT)
    book.add(PLACE, "md5", [replace(one, digest=hashlib.md5(b"one", usedforsecurity=False).digest())], AT)

    assert book.lookup(an_address("kestrel:main/other"), "sha256", [b"a"]) == {}
    assert book.lookup(PLACE, "sha1", [b"a"]) == {}
    assert len(book.lookup(PLACE, "md5", [b"a"])[b"a"].digest) == 16
    assert len(book.lookup(PLACE, "sha256", [b"a"])[b"a"].digest) == 32


@pytest.mark.parametrize(
    ("figures", "stands"),
    [
        ({}, True),
        ({"ctime_ns": None}, True),  # a box that shows no ctimes
        ({"ctime_ns": 8}, False),
        ({"mtime_ns": 6}, False),
        ({"size": 4}, False),
    ],
)
def test_a_digest_stands_while_none_of_its_figures_has_changed(
    book: DigestBook, figures: dict[str, int | None], *, stands: bool
) -> None:
    one = hashed(b"a", b"one")
    book.add(PLACE, "sha256", [one], AT)
    listed = replace(one, **figures)  # type: ignore[arg-type]  # the names are checked by replace itself

    assert (b"a" in book.of(PLACE, "sha256").standing([listed])) is stands


def test_another_content_under_the_same_figures_is_decay_and_is_said_until_it_is_put_right(book: DigestBook) -> None:
    good, bad = hashed(b"a", b"one"), hashed(b"a", b"onf")
    book.add(PLACE, "sha256", [good, hashed(b"b", b"two")], AT)
    found = book.add(PLACE, "sha256", [bad], LATER)
    again = book.add(PLACE, "sha256", [bad], LATER)
    mended = book.add(PLACE, "sha256", [replace(good, ctime_ns=9)], LATER)

    for added in (found, again):
        assert [(one.before.digest, one.before.again_at, one.now) for one in added.decayed] == [(good.digest, AT, bad)]
        assert added.rewritten == ()
    assert mended.decayed == mended.rewritten == ()
    assert book.lookup(PLACE, "sha256", [b"a"])[b"a"].ctime_ns == 9


def test_decay_is_seen_by_figures_alone_where_no_ctimes_are_shown(book: DigestBook) -> None:
    book.add(PLACE, "sha256", [hashed(b"a", b"one")], AT)

    assert len(book.add(PLACE, "sha256", [hashed(b"a", b"onf", ctime=None)], LATER).decayed) == 1


def test_a_file_that_was_written_and_its_time_put_back_is_told_from_decay_and_from_an_edit(book: DigestBook) -> None:
    book.add(PLACE, "sha256", [hashed(b"a", b"one"), hashed(b"b", b"two")], AT)
    put_back, edited = hashed(b"a", b"onf", ctime=8), hashed(b"b", b"twp", mtime=8, ctime=8)

    found = book.add(PLACE, "sha256", [put_back, edited], LATER)

    assert found.decayed == ()
    assert [(one.before.path, one.now) for one in found.rewritten] == [(b"a", put_back)]
    known = book.lookup(PLACE, "sha256", [b"a", b"b"])
    assert {one.digest for one in known.values()} == {put_back.digest, edited.digest}


def test_what_a_reading_without_ctimes_confirms_keeps_the_ctime_that_is_known(book: DigestBook) -> None:
    book.add(PLACE, "sha256", [hashed(b"a", b"one")], AT)
    book.add(PLACE, "sha256", [hashed(b"a", b"one", ctime=None)], LATER)

    assert book.lookup(PLACE, "sha256", [b"a"])[b"a"].ctime_ns == 7


def test_a_device_that_was_renamed_keeps_its_digests(book: DigestBook) -> None:
    book.add(PLACE, "sha256", [hashed(b"a", b"one")], AT)
    renamed, before = an_address("heron:main/field-recordings"), [DeviceId("kestrel")]

    assert b"a" in book.lookup(renamed, "sha256", [b"a"], before)
    assert book.lookup(renamed, "sha256", [b"a"]) == {}
    assert len(book.add(renamed, "sha256", [hashed(b"a", b"onf")], LATER, before).decayed) == 1
    book.add(renamed, "sha256", [hashed(b"b", b"two")], LATER, before)
    assert set(book.lookup(renamed, "sha256", [b"a", b"b"])) == {b"a", b"b"}


def spoil(file: Path, at: int) -> None:
    content = bytearray(file.read_bytes())
    content[at] ^= 1
    file.write_bytes(content)


def in_the_digests(file: Path) -> int:
    """A place in the middle of the column of digests."""
    column = pq.ParquetFile(file).metadata.row_group(0).column(4)
    assert column.path_in_schema == "digest"
    return int(column.data_page_offset + column.total_compressed_size // 2)


def many(count: int) -> Sequence[HashedFile]:
    return [hashed(b"%06d" % number, b"%d" % number) for number in range(count)]


@pytest.mark.parametrize("where", ["within", "end", "foreign", "cut"])
def test_damage_counts_as_nothing_remembered_and_is_said(book: DigestBook, folder: StateFolder, where: str) -> None:
    files = many(1000)
    book.add(PLACE, "sha256", files, AT)
    file = only_file(folder)
    match where:
        case "within":
            spoil(file, in_the_digests(file))
        case "end":
            spoil(file, file.stat().st_size - 30)
        case "foreign":
            file.write_bytes(b"something else")
        case _:
            os.truncate(file, file.stat().st_size // 2)

    assert book.lookup(PLACE, "sha256", [files[0].path]) == {}
    found = book.add(PLACE, "sha256", files[:10], LATER)
    assert found.damaged is not None
    assert str(file) in found.damaged
    assert [(gap.subject, gap.kind, gap.at) for gap in book.lost] == [(str(PLACE), GapKind.STORAGE, LATER)]
    assert found.decayed == ()
    assert set(book.lookup(PLACE, "sha256", [one.path for one in files])) == {one.path for one in files[:10]}
    assert book.add(PLACE, "sha256", files[:10], LATER).damaged is None


def test_every_byte_of_a_file_is_guarded(book: DigestBook, folder: StateFolder) -> None:
    """No flipped bit makes another digest out of one: it is found, or it changed nothing."""
    files = many(3)
    book.add(PLACE, "sha256", files, AT)
    file = only_file(folder)
    whole = file.read_bytes()
    before = book.lookup(PLACE, "sha256", [one.path for one in files])
    for at in range(len(whole)):
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 0x10]) + whole[at + 1 :])
        assert book.lookup(PLACE, "sha256", [one.path for one in files]) in ({}, before), at


def test_more_rows_than_a_group_holds_are_all_found_in_order(book: DigestBook, folder: StateFolder) -> None:
    even = [hashed(b"%06d" % number, b"%d" % number) for number in range(0, 200_000, 2)]
    odd = [hashed(b"%06d" % number, b"%d" % number) for number in range(1, 200_000, 2)]
    book.add(PLACE, "sha256", even, AT)
    book.add(PLACE, "sha256", odd, LATER)

    table = pq.read_table(only_file(folder))
    assert table["path"].to_pylist() == [b"%06d" % number for number in range(200_000)]
    assert pq.ParquetFile(only_file(folder)).metadata.num_row_groups == 4
    assert set(book.lookup(PLACE, "sha256", [b"000000", b"131072", b"199999", b"200000"])) == {
        b"000000",
        b"131072",
        b"199999",
    }
    assert sum(len(batch) for batch in book.of(PLACE, "sha256").batches()) == 200_000


def test_what_is_declared_no_more_is_let_go_after_long(book: DigestBook, folder: StateFolder, tmp_path: Path) -> None:
    was_renamed = spoiled("  heron:\n    site: barn\n", "  heron:\n    formerly: [avocet]\n    site: barn\n")
    estate = read(tmp_path, was_renamed)
    kept = ("kestrel:main/sheets", "heron:pool/sheets", "avocet:pool/sheets")
    gone = ("kestrel:main/sheets-2024", "curlew:pool/sheets")
    for place in (*kept, *gone):
        book.add(an_address(place), "sha256", [hashed(b"a", b"one")], AT)

    book.prune(estate, AT + timedelta(days=399))
    assert len(list(folder.digests.iterdir())) == 5
    book.prune(estate, AT + timedelta(days=401))

    for place in kept:
        assert b"a" in book.lookup(an_address(place), "sha256", [b"a"])
    for place in gone:
        assert book.lookup(an_address(place), "sha256", [b"a"]) == {}


def test_what_a_killed_audit_left_unfinished_is_swept_away(state: Path) -> None:
    with exclusive(state), open_ledger(state, None) as ledger:
        ledger.digests.add(PLACE, "sha256", [hashed(b"a", b"one")], AT)
    unfinished = state / "digests" / "0123.parquet.part"
    unfinished.write_bytes(b"PAR1")

    with exclusive(state), open_ledger(state, None) as ledger:
        assert b"a" in ledger.digests.lookup(PLACE, "sha256", [b"a"])
        assert not unfinished.exists()
