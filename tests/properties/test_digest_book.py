"""The book of digests against a plain model of it: a dictionary that is told the same."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pyarrow.parquet as pq
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.evidence.content import HashedFile
from coverage_audit.evidence.store import DigestsFile, StoredDigests, add_digests
from coverage_audit.evidence.store import adding_digests as module
from coverage_audit.ledger.digest_book import DigestBook
from coverage_audit.ledger.folder import StateFolder
from tests.builders.questions import an_address

PLACE = an_address("kestrel:main/field-recordings")
BEGUN = datetime(2026, 1, 1, tzinfo=UTC)

NAMES = st.one_of(st.sampled_from([b"a", b"a/b", b"a-b", b"\xff", b"b", b"\n"]), st.binary(min_size=1, max_size=4)).map(
    lambda name: name.replace(b"\0", b"0")
)
FILES = st.builds(
    lambda path, size, mtime, ctime, content: HashedFile(
        path=path, size=size, mtime_ns=mtime, ctime_ns=ctime, digest=hashlib.sha256(content).digest()
    ),
    NAMES,
    st.integers(0, 1),
    st.sampled_from([-1, 0, 2**62]),
    st.sampled_from([None, 1, 2]),
    st.sampled_from([b"one", b"two"]),
)
READINGS = st.lists(st.lists(FILES, max_size=12), max_size=8)

Remembered = tuple[int, int, int | None, bytes, datetime, datetime]


class Model:
    """What the book should remember, and which files it should name, by the rules as they are written down."""

    def __init__(self) -> None:
        self.rows: dict[bytes, Remembered] = {}

    def add(self, files: list[HashedFile], at: datetime) -> tuple[set[bytes], set[bytes]]:
        decayed: set[bytes] = set()
        rewritten: set[bytes] = set()
        for path, now in {file.path: file for file in files}.items():
            fresh = (now.size, now.mtime_ns, now.ctime_ns, now.digest, at, at)
            if path not in self.rows:
                self.rows[path] = fresh
                continue
            size, mtime, ctime, digest, first, _ = self.rows[path]
            same_times = (size, mtime) == (now.size, now.mtime_ns)
            same_ctime = ctime is None or now.ctime_ns is None or ctime == now.ctime_ns
            if digest == now.digest:
                known = ctime if same_times and now.ctime_ns is None else now.ctime_ns
                self.rows[path] = (now.size, now.mtime_ns, known, digest, first, at)
            elif same_times and same_ctime:
                decayed.add(path)
            else:
                if same_times:
                    rewritten.add(path)
                self.rows[path] = fresh
        return decayed, rewritten


@settings(max_examples=80, deadline=None)
@given(readings=READINGS, group=st.sampled_from([1, 2, 5, 65536]))
def test_the_book_remembers_what_a_dictionary_would(readings: list[list[HashedFile]], group: int) -> None:
    usual = module._GROUP
    module._GROUP = group  # type: ignore[misc]  # groups of few rows, so that files of few rows have many
    try:
        with TemporaryDirectory() as folder:
            state = StateFolder(path=Path(folder) / "state")
            state.prepare()
            book, model = DigestBook(state), Model()
            for number, files in enumerate(readings):
                at = BEGUN + timedelta(days=number)
                added = book.add(PLACE, "sha256", files, at)
                decayed, rewritten = model.add(files, at)
                assert {one.now.path for one in added.decayed} == decayed
                assert {one.now.path for one in added.rewritten} == rewritten
                assert added.damaged is None
            _same(book, model, {file.path for files in readings for file in files} | {b"never", b"\xff\xff"})
    finally:
        module._GROUP = usual  # type: ignore[misc]


def _same(book: DigestBook, model: Model, paths: set[bytes]) -> None:
    found = {
        path: (one.size, one.mtime_ns, one.ctime_ns, one.digest, one.hashed_at, one.again_at)
        for path, one in book.lookup(PLACE, "sha256", paths).items()
    }
    assert found == model.rows
    for path in paths:
        assert (path in book.lookup(PLACE, "sha256", [path])) is (path in model.rows)
    stored = book.of(PLACE, "sha256")
    listed = [row["path"] for batch in stored.batches() for row in batch.to_pylist()]
    assert listed == sorted(model.rows)


@settings(max_examples=60, deadline=None)
@given(before=st.lists(FILES, min_size=1, max_size=12), listed=st.lists(FILES, max_size=12))
def test_a_digest_stands_for_nothing_but_what_has_its_figures(
    before: list[HashedFile], listed: list[HashedFile]
) -> None:
    with TemporaryDirectory() as folder:
        file = Path(folder) / "digests.parquet"
        add_digests(None, file, DigestsFile(address=PLACE, algorithm="sha256", added_at=BEGUN), before)
        standing = StoredDigests(algorithm="sha256", file=file).standing(listed)
        assert pq.read_metadata(file).num_rows == len({one.path for one in before})

    known = {one.path: one for one in before}
    now = {one.path: one for one in listed}
    for path, one in now.items():
        was = known.get(path)
        stands = (
            was is not None
            and (was.size, was.mtime_ns) == (one.size, one.mtime_ns)
            and (was.ctime_ns is None or one.ctime_ns is None or was.ctime_ns == one.ctime_ns)
        )
        assert (path in standing) is stands
