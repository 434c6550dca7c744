from __future__ import annotations

from datetime import timedelta

import isodate
import pytest

from coverage_audit.estate.units import LARGEST, LONGEST, format_duration, format_size, parse_duration, parse_size


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("26h", 26 * 3600),
        ("3d", 3 * 86400),
        ("90min", 5400),
        ("2w", 14 * 86400),
        ("45s", 45),
        ("1d 12h", 129600),
        ("1d12h", 129600),
        ("26 h", 26 * 3600),
        ("11 days", 11 * 86400),
        ("2 days 7 h", 2 * 86400 + 7 * 3600),
        ("1 week", 604800),
        ("0s", 0),
        ("36525d", 36525 * 86400),
    ],
)
def test_a_plain_duration_is_a_number_with_its_unit(text: str, seconds: int) -> None:
    assert parse_duration(text) == timedelta(seconds=seconds)


# Lengths: ISO 8601 (from memory); P1W, P1D = PT24H, PT36H = P1DT12H in seconds are arithmetic.
ACCEPTED_BY_BOTH = [
    ("P1D", 86400),
    ("PT24H", 86400),
    ("P1W", 604800),
    ("PT36H", 129600),
    ("P1DT12H", 129600),
    ("PT26H", 93600),
    ("PT0S", 0),
    ("PT15M", 900),
    ("PT1H0M30S", 3630),
    ("P1DT1H1M1S", 90061),
    ("PT1M30S", 90),
]


@pytest.mark.parametrize(("text", "seconds"), ACCEPTED_BY_BOTH)
def test_an_iso_duration_is_read_as_isodate_reads_it(text: str, seconds: int) -> None:
    assert parse_duration(text) == timedelta(seconds=seconds)
    assert isodate.parse_duration(text) == timedelta(seconds=seconds)


# The grammar of RFC 3339 Appendix A: no middle unit left out, weeks alone, whole numbers, something after the T.
# isodate is looser, which is why the second column says what it makes of each.
@pytest.mark.parametrize(
    ("text", "isodate_takes_it"),
    [
        ("PT1H30S", True),
        ("P2W3D", True),
        ("PT0.5H", True),
        ("P0.5D", True),
        ("PT1,5H", True),
        ("P1DT", True),
        ("PT", True),
        ("-P1D", True),
        ("P", False),
        ("P1", False),
        ("1D", False),
        ("P1D1H", False),
        ("P1H", False),
    ],
)
def test_an_iso_duration_outside_the_grammar_of_rfc_3339_is_refused(text: str, isodate_takes_it: bool) -> None:  # noqa: FBT001 - a column of the table
    with pytest.raises(ValueError, match=r"write e\.g\."):
        parse_duration(text)
    if isodate_takes_it:
        isodate.parse_duration(text)
    else:
        with pytest.raises(isodate.ISO8601Error):
            isodate.parse_duration(text)


@pytest.mark.parametrize("text", ["P1M", "P1Y", "P1Y2M", "P1Y10D", "P1Y2M10DT2H"])
def test_months_and_years_have_no_fixed_length_and_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no fixed length"):
        parse_duration(text)


@pytest.mark.parametrize("text", ["5m", "5M", "3mo", "3 months", "1y", "2 years"])
def test_a_unit_that_could_be_a_month_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(ValueError, match=r"ambiguous.*min for minutes, or days"):
        parse_duration(text)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("26", "no unit"),
        ("1.5h", "smaller unit"),
        ("12h 1d", "out of order"),
        ("1d 1d", "out of order"),
        ("26x", "unknown unit"),
        ("26H", "unknown unit"),
        ("", "no duration"),
        (" 1d", "no duration"),
        ("1d ", "no duration"),
        ("h", "no duration"),
        ("-3d", "no duration"),
        ("\u0663d", "no duration"),  # an Arabic-Indic three is a digit to Python, and no number to an owner's file
        ("pt1h", "no duration"),
        ("1d\n", "no duration"),
        ("999999999d", "hundred years"),
        ("P999999999D", "hundred years"),
        ("9" * 5000 + "d", "no duration"),
    ],
)
def test_what_is_no_duration_is_refused(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        parse_duration(text)


def test_no_duration_is_so_long_that_an_instant_before_it_falls_off_the_calendar() -> None:
    assert parse_duration("36525d") == LONGEST
    with pytest.raises(ValueError, match="hundred years"):
        parse_duration("36525d 1s")


@pytest.mark.parametrize(
    ("duration", "said"),
    [
        (timedelta(0), "0 s"),
        (timedelta(milliseconds=300), "under 1 s"),
        (timedelta(seconds=59), "59 s"),
        (timedelta(seconds=60), "1 min"),
        (timedelta(minutes=59, seconds=59.9), "59 min 59 s"),
        (timedelta(hours=1), "1 h"),
        (timedelta(hours=26), "26 h"),
        (timedelta(hours=26, minutes=20), "26 h 20 min"),
        (timedelta(hours=47, minutes=59), "47 h 59 min"),
        (timedelta(hours=48), "2 days"),
        (timedelta(days=2, hours=7), "2 days 7 h"),
        (timedelta(days=11), "11 days"),
        (timedelta(days=729, hours=23, minutes=59), "729 days 23 h"),
        (timedelta(days=730), "2 years"),
        (timedelta(days=731), "2 years 1 day"),
        (timedelta(days=365 * 3 + 104), "3 years 104 days"),
        (-timedelta(minutes=3), "-3 min"),
    ],
)
def test_a_duration_is_said_in_its_two_largest_units_and_cut(duration: timedelta, said: str) -> None:
    assert format_duration(duration) == said


# IEC 80000-13, Table 4 (from memory): the binary prefixes are powers of 1024; the decimal ones are the SI's.
@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("1 B", 1),
        ("0 B", 0),
        ("1 kB", 1000),
        ("1 MB", 10**6),
        ("1 GB", 10**9),
        ("1 TB", 10**12),
        ("1 PB", 10**15),
        ("1 EB", 10**18),
        ("1 KiB", 1024),
        ("1 MiB", 1048576),
        ("1 GiB", 1073741824),
        ("1 TiB", 1099511627776),
        ("1 PiB", 1125899906842624),
        ("1 EiB", 1152921504606846976),
        ("500MB", 500 * 10**6),
        ("1.5 TB", 15 * 10**11),
        ("0.5 KiB", 512),
    ],
)
def test_a_size_has_a_decimal_or_a_binary_unit(text: str, size: int) -> None:
    assert parse_size(text) == size


@pytest.mark.parametrize(
    "unit", ["KB", "K", "k", "kb", "Kb", "M", "m", "mb", "Mb", "G", "g", "gb", "T", "kiB", "Ki", "KIB"]
)
def test_a_unit_that_means_two_sizes_in_daily_use_is_refused(unit: str) -> None:
    with pytest.raises(ValueError, match=r"ambiguous \(.B counts in thousands, .iB in 1024s\)"):
        parse_size(f"5 {unit}")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("500", "no unit"),
        ("", "no size"),
        ("x", "no size"),
        ("-1 GB", "no size"),
        ("1e3 GB", "no size"),
        ("1 ZB", "unknown"),
        ("1 bytes", "unknown"),
        ("0.5 B", "whole number of bytes"),
        ("1.2345 kB", "whole number of bytes"),
        ("9.3 EB", "larger than 9 EB"),
        ("8 EiB", "larger than 9 EB"),
        ("\u0661 GB", "no size"),
        ("9" * 70 + " GB", "no size"),
    ],
)
def test_what_is_no_size_is_refused(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        parse_size(text)


def test_the_largest_size_still_fits_a_signed_64_bit_number() -> None:
    assert parse_size("7 EiB") < LARGEST < 8 * 2**60


@pytest.mark.parametrize(
    ("size", "said"),
    [
        (0, "0 B"),
        (999, "999 B"),
        (1000, "1.0 kB"),
        (1049, "1.0 kB"),
        (1050, "1.1 kB"),
        (99_949, "99.9 kB"),
        (99_950, "100 kB"),
        (999_499, "999 kB"),
        (999_500, "1.0 MB"),
        (1_234_567_890, "1.2 GB"),
        (12 * 10**12, "12.0 TB"),
        (10**22, "10000 EB"),
        (-1500, "-1.5 kB"),
    ],
)
def test_a_size_is_said_in_decimal_units_and_never_as_a_thousand_of_one(size: int, said: str) -> None:
    assert format_size(size) == said
