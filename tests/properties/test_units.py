"""Laws of durations and sizes."""

from __future__ import annotations

from datetime import timedelta

import isodate
from hypothesis import assume, example, given
from hypothesis import strategies as st

from coverage_audit.estate.units import LARGEST, format_duration, format_size, parse_duration, parse_size

# From a second to 729 days: above, people are told years, which no one may declare.
SAID_AS_WRITTEN = st.integers(min_value=1, max_value=730 * 86_400 - 1).map(lambda seconds: timedelta(seconds=seconds))
WHOLE = st.integers(min_value=0, max_value=99_999)


@given(SAID_AS_WRITTEN)
@example(timedelta(hours=48))
@example(timedelta(seconds=3599))
def test_what_is_said_of_a_duration_can_be_declared_and_is_never_more_than_it(duration: timedelta) -> None:
    said = parse_duration(format_duration(duration))
    assert said <= duration
    assert duration - said < timedelta(hours=1)
    assert format_duration(said) == format_duration(duration)


@given(SAID_AS_WRITTEN, SAID_AS_WRITTEN)
def test_the_longer_of_two_durations_is_never_said_to_be_the_shorter(one: timedelta, other: timedelta) -> None:
    short, long = sorted((one, other))
    assert parse_duration(format_duration(short)) <= parse_duration(format_duration(long))


@given(weeks=st.integers(0, 500), days=WHOLE, hours=WHOLE, minutes=WHOLE, seconds=WHOLE)
def test_a_duration_of_several_units_is_their_sum(
    weeks: int, days: int, hours: int, minutes: int, seconds: int
) -> None:
    total = timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes, seconds=seconds)
    assume(total <= timedelta(days=36525))
    assert parse_duration(f"{weeks}w {days}d {hours}h {minutes}min {seconds}s") == total
    assert parse_duration(f"{weeks}w{days}d{hours}h{minutes}min{seconds}s") == total


@given(days=st.integers(0, 30_000), hours=WHOLE, minutes=WHOLE, seconds=WHOLE)
def test_a_whole_iso_duration_is_read_as_isodate_reads_it(days: int, hours: int, minutes: int, seconds: int) -> None:
    text = f"P{days}DT{hours}H{minutes}M{seconds}S"
    assert parse_duration(text) == isodate.parse_duration(text)


@given(st.from_regex(r"\A-?P?[0-9YMWDTHS.,]{1,12}\Z"))
def test_an_iso_duration_that_is_taken_at_all_means_what_isodate_says(text: str) -> None:
    """Stricter than isodate, never different from it: the outside agrees with whatever is accepted."""
    try:
        found = parse_duration(text)
    except ValueError:
        return
    assert isodate.parse_duration(text) == found


@given(st.text(max_size=80) | st.text("0123456789 .,PTWDHMSwdhmin", max_size=20))
def test_no_text_makes_the_reading_of_a_duration_or_a_size_fail_otherwise(text: str) -> None:
    for read in (parse_duration, parse_size):
        refusal = ""
        try:
            read(text)
        except ValueError as error:
            refusal = str(error)
        assert not refusal or refusal.endswith(")")  # with its mend


@given(st.integers(min_value=0, max_value=LARGEST), st.sampled_from(["B", "kB", "MB", "GB", "KiB", "MiB", "GiB"]))
def test_a_size_in_whole_units_is_their_product(number: int, unit: str) -> None:
    each = {"B": 1, "kB": 10**3, "MB": 10**6, "GB": 10**9, "KiB": 2**10, "MiB": 2**20, "GiB": 2**30}[unit]
    assume(number * each <= LARGEST)
    assert parse_size(f"{number} {unit}") == number * each


@given(st.integers(min_value=0, max_value=9 * 10**18))
@example(999_999)
@example(99_950)
def test_what_is_said_of_a_size_is_near_it_and_says_itself_again(size: int) -> None:
    said = format_size(size)
    back = parse_size(said)
    assert abs(back - size) * 20 <= size
    assert format_size(back) == said
    assert len(said) <= 7


@given(st.integers(0, 10**19), st.integers(0, 10**19))
def test_the_larger_of_two_sizes_is_never_said_to_be_the_smaller(one: int, other: int) -> None:
    order = ["B", "kB", "MB", "GB", "TB", "PB", "EB"]

    def weight(size: int) -> tuple[int, float]:
        number, unit = format_size(size).split(" ")
        return order.index(unit), float(number)

    small, large = sorted((one, other))
    assert weight(small) <= weight(large)
