from __future__ import annotations

from datetime import datetime

import pytest

from coverage_audit.estate.patterns import check_left_out, check_point_pattern


@pytest.mark.parametrize(
    "pattern",
    [
        "%Y-%m-%dT%H%M%SZ",
        "%Y-%m-%dT%H:%M:%S%z",
        "%Y%m%d",
        "%Y%m%d-%H%M",
        "%Y-%j",
        "week-%G-W%V-%u",
        "%Y-%m-%d_%I%p",
        "@GMT-%Y.%m.%d-%H.%M.%S",
        "snap_%Y-%m-%d_%H.%M.%S.%f",
        "%d.%b.%Y",
        "100%%-%Y%m%d",
        "(%Y)-%m-[%d]",
    ],
)
def test_a_pattern_with_a_whole_date_is_taken(pattern: str) -> None:
    assert check_point_pattern(pattern) == pattern


@pytest.mark.parametrize(
    ("pattern", "why"),
    [
        ("", "no full date"),
        ("daily", "no full date"),
        ("%Y-%m", "no full date"),
        ("%m-%d", "no full date"),
        ("%H%M%S", "no full date"),
        ("%G-W%V", "no full date"),
        ("%y%m%d", "century"),
        ("%D", "century"),
        ("%Y-%m-%d %Z", "several zones share"),
        ("%c", "language"),
        ("%x", "language"),
        ("%F", "write %Y-%m-%d"),
        ("%Y-%m-%d %T", "write %H:%M:%S"),
        ("%Y-%W-%w", "few use"),
        ("%Y-%m-%d %I", "half of the day"),
        ("%Y-%m-%d %H %p", "half of the day"),
        ("%Y-%m-%d %H %I %p", "hour twice"),
        ("%Y-%m-%d-%M", "without an hour"),
        ("%Y-%m-%d %H%S", "%S without %M"),
        ("%Y-%m-%d %H%M%f", "%f without %S"),
        ("%Y-%m-%d%z", "zone without an hour"),
        ("%Y-%m-%d-%Y", "twice"),
        ("%Y-%m-%d %s", "unknown '%s'"),
        ("%Y-%m-%d %Q", "unknown '%Q'"),
        ("%Y-%m-%d %-d", "unknown '%-'"),
        ("%Y-%m-%d%", "unknown '%'"),
        ("%Y/%m/%d", "one part of the path"),
        ("%Y%m%d\0", "one part of the path"),
    ],
)
def test_a_pattern_that_leaves_the_instant_open_is_refused(pattern: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        check_point_pattern(pattern)


def test_a_century_left_open_would_turn_an_old_point_into_a_coming_one() -> None:
    """Why %y is refused: strptime takes 68 for 2068 and 69 for 1969 (POSIX strptime's rule)."""
    assert datetime.strptime("68", "%y").year == 2068  # noqa: DTZ007 - only the year is looked at
    assert datetime.strptime("69", "%y").year == 1969  # noqa: DTZ007 - only the year is looked at


@pytest.mark.parametrize(
    "pattern", ["*.tmp", "/scratch/", "cache/", "**/.thumbnails", "!keep.tmp", "a[bc]d", "\\#x", "*.*"]
)
def test_a_pattern_of_names_to_leave_out_is_taken(pattern: str) -> None:
    assert check_left_out(pattern) == pattern


@pytest.mark.parametrize("pattern", ["*", "**", "***", "/*", "/**", "**/*", "?*"])
def test_a_pattern_that_leaves_everything_out_is_refused(pattern: str) -> None:
    with pytest.raises(ValueError, match="nothing would be audited"):
        check_left_out(pattern, ["*.tmp"])


def test_leaving_out_everything_but_some_is_taken() -> None:
    assert check_left_out("*", ["!*.wav"]) == "*"


@pytest.mark.parametrize(
    ("pattern", "why"),
    [
        ("", "blank"),
        ("  ", "blank"),
        ("# note", "comment"),
        ("a\nb", "spans lines"),
        ("\\", "no pattern"),
        ("a[z-a]", "no pattern"),
    ],
)
def test_a_pattern_that_means_nothing_is_refused(pattern: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        check_left_out(pattern)
