"""When a volume will be full: made-up years of which the answer is known."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest

from coverage_audit.reckoning.filling import Filling, Reading, filling

_BEGIN = datetime(2025, 1, 1, 4, 10, tzinfo=UTC)
_GB = 10**9


def _year(step: int = 0, *, leak: float = 3.0, noise: float = 20.0, seed: int = 0, days: int = 365) -> list[Reading]:
    chance = random.Random(seed)
    return [
        Reading(
            at=_BEGIN + timedelta(days=day),
            used=int(_GB * (1000 + leak * day + chance.gauss(0, noise) + (step if day > 200 else 0))),
        )
        for day in range(days)
    ]


def _found(readings: list[Reading], limit: int) -> Filling:
    found = filling(readings, limit * _GB)
    assert found is not None
    return found


@pytest.mark.parametrize("step", [0, 150, 400, -150])
@pytest.mark.parametrize("limit", [3000, 6000])
def test_a_year_with_a_step_a_leak_and_noise_has_the_date_of_filling_within_its_interval(step: int, limit: int) -> None:
    """Count misses in 100 years; of an interval at 95 % fewer than 17 miss, save once in 1e5 (binomial)."""
    full = _BEGIN + timedelta(days=(limit - 1000 - step) / 3)
    missed = 0
    for seed in range(100):
        found = _found(_year(step, seed=seed), limit)
        assert found.earliest is not None
        missed += not (found.earliest <= full and (found.latest is None or full <= found.latest))

    assert missed <= 16


def test_one_large_move_raises_no_alarm() -> None:
    found = _found(_year(2000, leak=0.0, noise=0.0), 4000)

    assert (found.reached, found.earliest, found.latest) == (None, None, None)
    assert found.pace == 0
    assert [move.date().isoformat() for move in found.moves] == ["2025-07-21"]


def test_a_large_move_of_yesterday_raises_no_alarm() -> None:
    readings = _year(leak=0.0, noise=0.0, days=60)
    readings[-1] = Reading(at=readings[-1].at, used=3000 * _GB)

    assert _found(readings, 4000).earliest is None


@pytest.mark.parametrize("quiet", [60, 365])
@pytest.mark.parametrize("leak", [5.0, 10.0, 30.0])
def test_a_leak_that_began_after_a_long_quiet_time_is_told_within_twelve_days(quiet: int, leak: float) -> None:
    """Half a volume of 1 TB is free; by the median of all days' slopes it would be full in years."""
    for days in (12, 16, 21):
        chance = random.Random(days)
        used = [500 + chance.gauss(0, 1) + leak * max(0, day - quiet + 1) for day in range(quiet + days)]
        if used[-1] >= 1000:
            continue
        readings = [Reading(at=_BEGIN + timedelta(days=day), used=int(_GB * each)) for day, each in enumerate(used)]
        found, left = _found(readings, 1000), (1000 - used[-1]) / leak
        assert found.reached is not None
        assert found.pace_low > 0
        assert (found.reached - readings[-1].at) / timedelta(days=1) == pytest.approx(left, rel=0.35)


@pytest.mark.parametrize("since", range(8, 40, 4))
def test_what_was_moved_in_over_a_week_and_has_ended_raises_no_alarm(since: int) -> None:
    chance = random.Random(since)
    used = [500 + chance.gauss(0, 1) + min(200.0, max(0, day - 120) * 200 / 7) for day in range(127 + since)]
    readings = [Reading(at=_BEGIN + timedelta(days=day), used=int(_GB * each)) for day, each in enumerate(used)]
    found = _found(readings, 1000)

    assert found.reached is None or found.reached - readings[-1].at > timedelta(days=60)


@pytest.mark.parametrize("day", range(270, 360, 5))
def test_what_swings_up_and_down_as_it_always_did_raises_no_alarm(day: int) -> None:
    """Ninety days up and down again: of the last four weeks alone it would be full within two months."""
    used = [700 + 200 * (each % 90) / 90 for each in range(day)]
    readings = [Reading(at=_BEGIN + timedelta(days=each), used=int(_GB * one)) for each, one in enumerate(used)]

    assert _found(readings, 1000).pace < _GB  # it rises by 2.2 GB a day


def test_what_is_full_is_reached_now() -> None:
    readings = _year(noise=0.0)

    assert _found(readings, 1500).reached == readings[-1].at


def test_what_shrinks_is_never_full() -> None:
    assert _found(_year(leak=-1.0, noise=1.0), 4000).earliest is None


def test_a_pace_of_a_byte_a_year_has_no_date() -> None:
    assert _found(_year(leak=1e-9, noise=0.0), 4000).reached is None


def test_of_several_readings_a_day_the_last_counts() -> None:
    once = _year(noise=0.0)
    twice = [Reading(at=reading.at - timedelta(hours=1), used=0) for reading in once] + once

    assert _found(twice, 4000) == _found(once, 4000)


def test_of_four_days_nothing_is_told() -> None:
    assert filling(_year(days=4), 4000 * _GB) is None
