from __future__ import annotations

from datetime import UTC, datetime, timedelta

from coverage_audit.reckoning.room import Shown, readings_of


def used(*shown: tuple[int, int]) -> tuple[list[int], int]:
    """What was in use of today's size, of sizes and free room day by day."""
    begin = datetime(2026, 11, 1, 4, 10, tzinfo=UTC)
    days = [Shown(at=begin + timedelta(days=day), size=size, free=free) for day, (size, free) in enumerate(shown)]
    readings, limit = readings_of(reversed(days))
    assert [reading.at for reading in readings] == [day.at for day in days]
    return [reading.used for reading in readings], limit


def test_of_a_volume_of_one_size_what_is_in_use_is_what_is_not_free() -> None:
    assert used((1000, 400), (1000, 390), (1000, 380)) == ([600, 610, 620], 1000)


def test_a_volume_that_was_made_larger_holds_what_it_held() -> None:
    assert used((1000, 400), (1000, 390), (2000, 1380)) == ([600, 610, 620], 2000)


def test_a_volume_that_was_made_smaller_holds_what_it_held() -> None:
    assert used((2000, 1400), (1000, 390)) == ([600, 610], 1000)


def test_a_pool_that_others_fill_fills() -> None:
    assert used((1000, 400), (995, 395), (990, 390)) == ([590, 595, 600], 990)


def test_of_nothing_there_is_nothing() -> None:
    assert readings_of(()) == ((), 0)
