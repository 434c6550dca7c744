"""What the rule says of files that programs keep open."""

from __future__ import annotations

from typing import Any

import pytest

from coverage_audit.evidence.difference import Seen, Sight, Tally
from coverage_audit.judgement.verdict import Answer
from tests.builders.cases import a_case, a_comparison, a_copy, judged_dataset, lacking
from tests.builders.station import CURLEW, HERON, RECORDINGS

NEAR, FAR = RECORDINGS.copies
MAIL = Seen(sight=Sight.OPEN, entries=2, example=b"mail.pst")


def said(comparison: Any) -> list[str]:
    case = a_case(a_copy(HERON, NEAR, comparison=comparison), a_copy(CURLEW, FAR))
    found = [f for f in judged_dataset(case).findings if f.rule == "open-files"]
    assert all(f.answer is Answer.OBSERVATION for f in found)
    assert all("write a dump" in f.mend for f in found)
    return [f.message for f in found]


@pytest.mark.parametrize(
    ("comparison", "fires"),
    [
        (lacking(2, counting=Tally(files=2), counting_rows=2, sights=(MAIL,)), True),
        (lacking(3, counting=Tally(files=3), counting_rows=3, sights=(MAIL,)), False),  # others lack, too
        (lacking(2, pending=Tally(files=2), pending_rows=2, sights=(MAIL,)), False),  # the next run takes them up
        (a_comparison(sights=(MAIL,)), False),  # they raced the walk, and are held
    ],
)
def test_a_copy_that_lacks_nothing_but_open_files_is_observed(comparison: Any, *, fires: bool) -> None:
    found = said(comparison)

    assert bool(found) is fires
    assert all("files that programs keep open (2 files, e.g. “mail.pst”)" in message for message in found)


def test_a_database_without_its_log_is_named_with_it() -> None:
    seen = Seen(sight=Sight.WITHOUT_LOG, entries=3, example=b"a/sheet.db-wal", beside=b"a/sheet.db")

    (message,) = said(a_comparison(sights=(seen,)))

    assert "it holds “a/sheet.db” without its log “a/sheet.db-wal” (and 2 files more alike)" in message


def test_a_file_written_during_the_listing_is_in_use() -> None:
    (message,) = said(a_comparison(sights=(Seen(sight=Sight.WRITTEN_MEANWHILE, entries=1, example=b"mail.pst"),)))

    assert "“mail.pst” was written while the original was listed: it is in use" in message


def test_where_nothing_of_the_kind_was_seen_nothing_is_said() -> None:
    assert not said(a_comparison())
