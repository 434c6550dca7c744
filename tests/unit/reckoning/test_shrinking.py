"""How much at once is much: against the declared share, against the shipped one with its floors, against history."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.turnover import Shares, Sign, Turnover
from coverage_audit.reckoning.shrinking import LEAST_BYTES, rewritten_unlearned, shares, signs, usual

AT = datetime(2026, 11, 26, 4, 10, tzinfo=UTC)
MB = 10**6


def a_turnover(files: int = 200, size: int = 200 * MB, **values: Any) -> Turnover:
    """Of so many files some were lost or changed; what is there now follows from that."""
    before = Tally(files=files, bytes=size)
    gone, arrived = values.get("gone", Tally()), values.get("arrived", Tally())
    now = Tally(files=files - gone.files + arrived.files, bytes=size - gone.bytes - values.get("shrunk", 0))
    return Turnover(**{"before_at": AT - timedelta(days=1), "at": AT, "before": before, "now": now, **values})


def gone(count: int, lost: int = 0, **values: Any) -> Turnover:
    return a_turnover(gone=Tally(files=count, bytes=lost), **values)


def rewritten(count: int, **values: Any) -> Turnover:
    return a_turnover(changed=Tally(files=count, bytes=0), **values)


@pytest.mark.parametrize(("count", "much"), [(0, False), (19, False), (20, True), (200, True)])
def test_a_declared_share_is_reached_by_just_as_many(count: int, much: bool) -> None:  # noqa: FBT001 - a case
    assert (Sign.WENT in signs(gone(count), declared=0.1)) is much


@pytest.mark.parametrize("files", [10, 30, 70, 110])
def test_ten_percent_of_any_number_is_exact(files: int) -> None:
    assert signs(gone(files // 10, files=files), declared=0.1) == (Sign.WENT,)
    assert signs(gone(files // 10 - 1, files=files), declared=0.1) == ()


def test_two_of_five_files_are_much_only_where_it_is_declared() -> None:
    assert signs(gone(2, files=5), declared=None) == ()
    assert signs(gone(2, files=5), declared=0.1) == (Sign.WENT,)


def test_the_last_of_few_files_is_much_whatever_is_declared() -> None:
    assert signs(gone(5, files=5), declared=None) == (Sign.WENT,)
    assert signs(a_turnover(files=0, size=0), declared=None) == ()


def test_few_files_with_most_of_the_bytes_are_much_and_many_small_ones_are_too() -> None:
    one = gone(1, LEAST_BYTES, size=2 * LEAST_BYTES)
    assert signs(one, declared=None) == (Sign.WENT,)
    assert signs(gone(1, LEAST_BYTES - 1, size=2 * LEAST_BYTES), declared=None) == ()
    assert signs(gone(50, 50, size=10**15), declared=None) == (Sign.WENT,)


def test_bytes_that_left_files_that_are_still_there_are_lost() -> None:
    cut = a_turnover(size=4 * LEAST_BYTES, changed=Tally(files=1, bytes=LEAST_BYTES), shrunk=LEAST_BYTES)
    assert signs(cut, declared=None) == (Sign.WENT,)


def test_emptied_files_are_lost_and_not_rewritten() -> None:
    emptied = a_turnover(changed=Tally(files=40, bytes=MB), emptied=Tally(files=40, bytes=MB), shrunk=MB)
    assert signs(emptied, declared=0.1, known=9) == (Sign.WENT,)


def test_what_grew_or_moved_is_no_loss() -> None:
    grown = a_turnover(arrived=Tally(files=5000, bytes=0), moved=Tally(files=150, bytes=0))
    assert signs(grown, declared=0.1, known=9) == ()


def test_one_new_suffix_is_a_sign_of_its_own() -> None:
    renamed = gone(20, suffixed=Tally(files=20, bytes=0), suffix=b".xyz")
    assert signs(renamed, declared=0.1) == (Sign.WENT, Sign.SUFFIXED)


def test_half_of_all_files_rewritten_are_much_before_it_is_known_what_is_usual() -> None:
    assert signs(rewritten(100), declared=0.1, known=2) == (Sign.REWRITTEN,)
    assert signs(rewritten(99), declared=0.1, known=2) == ()
    assert rewritten_unlearned(rewritten(99), declared=0.1, known=2)
    assert not rewritten_unlearned(rewritten(99), declared=0.1, known=3)
    assert not rewritten_unlearned(rewritten(19), declared=0.1, known=2)


def test_what_is_rewritten_is_held_against_what_is_usual_there() -> None:
    assert signs(rewritten(20), declared=0.1, known=3) == (Sign.REWRITTEN,)
    often = Shares(rewritten=0.3)
    assert signs(rewritten(79), declared=0.1, usually=often, known=3) == ()
    assert signs(rewritten(80), declared=0.1, usually=often, known=3) == (Sign.REWRITTEN,)
    assert signs(rewritten(200), declared=0.1, usually=Shares(rewritten=1.0), known=3) == (Sign.REWRITTEN,)


def test_what_is_usual_excuses_a_loss_only_where_no_share_is_declared_and_never_that_of_everything() -> None:
    pruned = Shares(lost_files=0.3)
    assert signs(gone(79), declared=None, usually=pruned, known=9) == ()
    assert signs(gone(80), declared=None, usually=pruned, known=9) == (Sign.WENT,)
    assert signs(gone(79), declared=0.1, usually=pruned, known=9) == (Sign.WENT,)
    assert signs(gone(200), declared=None, usually=Shares(lost_files=1.0), known=9) == (Sign.WENT,)


def test_usual_is_what_three_audits_saw_and_two_bad_nights_are_not_usual() -> None:
    quiet = [Shares()] * 20
    assert usual([]) == Shares()
    assert usual([Shares(lost_files=0.9), Shares(lost_files=0.9), *quiet]) == Shares()
    weekly = [Shares(lost_files=0.3, rewritten=0.1), Shares(lost_files=0.31), Shares(lost_files=0.29)]
    assert usual([*quiet, *weekly]) == Shares(lost_files=0.29)


def test_shares_are_of_what_was_there() -> None:
    told = shares(a_turnover(gone=Tally(files=20, bytes=50 * MB), changed=Tally(files=10, bytes=0)))
    assert told == Shares(lost_files=0.1, lost_bytes=0.25, rewritten=0.05)
    assert shares(a_turnover(files=0, size=0)) == Shares()
