from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from coverage_audit.daemon.stepping import Moment, step

START = Moment(wall=datetime(2026, 7, 1, tzinfo=UTC), monotonic=1000.0)


def after(wall: float, monotonic: float) -> Moment:
    return Moment(wall=START.wall + timedelta(seconds=wall), monotonic=START.monotonic + monotonic)


@pytest.mark.parametrize(
    ("wall", "monotonic", "stepped"),
    [
        (60, 60, None),
        (75, 60, None),  # a clock being corrected
        (45, 60, None),
        (0, 60, -60),  # set back by a minute
        (-86_400 + 60, 60, -86_400),
        (28_800, 60, 28_740),  # asleep for eight hours: the monotonic clock stood still
        (28_800, 28_800, None),  # a long wait is no step
    ],
)
def test_a_step_is_what_the_wall_clock_went_beyond_the_monotonic_one(
    wall: float, monotonic: float, stepped: float | None
) -> None:
    assert step(START, after(wall, monotonic)) == (None if stepped is None else timedelta(seconds=stepped))
