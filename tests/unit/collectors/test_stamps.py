"""The usual spellings of times in names: what each means, and what is refused because it could mean two instants."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.collectors.stamps.local_time import NoPointError, Span, Zone
from coverage_audit.collectors.stamps.spelt import read
from coverage_audit.collectors.stamps.together import spans

DUBLIN = Zone(zone=ZoneInfo("Europe/Dublin"), source="declared for the device")
THREE = datetime(2026, 11, 25, 3, tzinfo=UTC)
DAY = timedelta(days=1)


def meant(*names: str, zone: Zone = DUBLIN) -> dict[str, Span | NoPointError]:
    return dict(spans(names, None, zone))


@pytest.mark.parametrize(
    "name",
    [
        "2026-11-25T03:00:00Z",
        "20261125T030000Z",
        "2026-11-25T04:00:00+01:00",
        "20261125T040000+0100",
        "20261125T040000+01",
        "2026-11-25 03:00:00 UTC",
        "2026-11-25 04:00:00 +0100",
        "2026-11-25_04-00-00+01-00",
        "2026-11-24T23:00:00-0400",
        "@GMT-2026.11.25-03.00.00",
        "volume@GMT-2026.11.25-03.00.00",
        "1795575600",
        "dump.1795575600000.img",
        "20261125030000Z",
        "2026-W48-3T030000Z",
    ],
)
def test_a_spelling_with_its_zone_means_one_instant_and_assumes_none(name: str) -> None:
    assert read(name, Zone(zone=None)).span == Span(earliest=THREE, latest=THREE)


@pytest.mark.parametrize(
    "name",
    [
        "2026-11-25T030000",
        "2026-11-25_03-00-00",
        "2026-11-25 03.00",
        "20261125_0300",
        "20261125.0300-1y",
        "2026.11.25.03.00.00",
        "2026_11_25_03_00",
        "2026-11-25_03h00",
        "2026-11-25T03h00m00s",
        "202611250300",
        "20261125030000.tar",
        "kestrel-20261125T0300--30d.img",
        "20261125-030000",
        "v2026-11-25T03:00:00-1y",
        "2026-11-25_03-00-00-3",
    ],
)
def test_a_spelling_without_a_zone_is_read_in_the_devices_own(name: str) -> None:
    assert read(name, DUBLIN).span == Span(earliest=THREE, latest=THREE, assumed=True)


@pytest.mark.parametrize(
    "name", ["2026-11-25", "20261125", "v2026-11-25-03", "2026-11-25-2", "2026.11.25", "a2026_11_25b"]
)
def test_a_date_alone_leaves_its_whole_day_open(name: str) -> None:
    # A trailing figure may be an hour or a count: it is on that day either way.
    midnight = datetime(2026, 11, 25, tzinfo=UTC)
    assert read(name, DUBLIN).span == Span(earliest=midnight, latest=midnight + DAY, assumed=True)


def test_a_week_leaves_its_seven_days_open_and_starts_on_monday() -> None:
    # ISO 8601-1:2019, 4.3.8: weeks begin on Monday; 2026-W48 begins on 2026-11-23
    monday = datetime(2026, 11, 23, tzinfo=UTC)
    for name in ("2026-W48", "2026W48"):
        assert read(name, DUBLIN).span == Span(earliest=monday, latest=monday + 7 * DAY, assumed=True)


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("25-11-2026", "day or month first"),
        ("11-25-2026", "day or month first"),
        ("01.02.2026", "day or month first"),
        ("20261131", "no date of the calendar"),
        ("2026-02-29", "no date of the calendar"),
        ("2026-W54", "no week of the calendar"),
        ("2025-W53", "no week of the calendar"),  # 2025 has 52 weeks (ISO 8601)
        ("2026-11-25T24:00", "no time of day"),
        ("2026-11-25T25:00", "no time of day"),
        ("2026-11-25T23:59:60", "no time of day"),
        ("202611252400", "a time that no day has"),
        ("20261125_030000_2026-11-24", "several times"),
        ("2026-11-25_03-00 to 2026-11-25_04-00", "several times"),
        ("daily.0", "no time in a usual spelling"),
        ("weekly.12", "no time in a usual spelling"),
        ("2026", "no time in a usual spelling"),
        ("2026-11", "no time in a usual spelling"),
        ("26-11-25", "no time in a usual spelling"),
        ("1795575600123456", "no time in a usual spelling"),
        ("2026112503", "hour or seconds since 1970"),
        ("2026-11-25T03", "looks like a time of day"),
        ("2026-11-25 3:00", "looks like a time of day"),
        ("2026-11-25 03:00 PM", "half of the day"),
        ("20260701-0300 IST", "names no offset for certain"),
        ("2026-11-25T03:00:00CET", "names no offset for certain"),
        ("2026-11-25T03:00:00 UTC+01:00", "names no offset for certain"),
        ("2026-11-25_030000_Z", "names no offset for certain"),
        ("2026-11-25T03:00:00-03", "a zone or a number"),
        ("2026-11-25_03-00-00-04-00", "a zone or a number"),
        ("2026-11-25T03:00:00+25:00", "no zone"),
        ("2026-03-29T01:30:00", "no such local time"),
        ("\uff12\uff10\uff12\uff16-11-25", "digits"),
    ],
)
def test_what_could_mean_two_instants_or_none_is_refused_with_the_reason(name: str, why: str) -> None:
    with pytest.raises(NoPointError, match=why):
        read(name, DUBLIN)


def test_the_hour_that_is_repeated_leaves_two_instants_open() -> None:
    # Europe/Dublin went back at 2026-10-25T01:00Z (tz database)
    span = read("2026-10-25_01-30", DUBLIN).span
    assert (span.earliest, span.latest) == (
        datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
        datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
    )


def test_a_date_whose_time_stands_elsewhere_in_the_name_is_no_second_time() -> None:
    assert read("2026-11-25/20261125T030000Z", DUBLIN).span.earliest == THREE


def test_four_figures_after_a_hyphen_are_a_time_only_where_a_sibling_shows_that_they_are_no_zone() -> None:
    nightly = meant("20261125-0300", "20261124-0300")
    assert all(isinstance(told, NoPointError) and "a time or a zone" in str(told) for told in nightly.values())

    shown = meant("20261125-0300", "20261124-0307")
    assert shown["20261125-0300"] == Span(earliest=THREE, latest=THREE, assumed=True)


def test_names_of_another_form_than_most_are_refused() -> None:
    told = meant("2026-11-23T0300", "2026-11-24T0300", "20261125", "lost+found")

    assert isinstance(told["2026-11-23T0300"], Span)
    assert "another form than 2 others" in str(told["20261125"])
    assert "no time in a usual spelling" in str(told["lost+found"])


def test_where_two_forms_are_equally_frequent_none_is_believed() -> None:
    told = meant("2026-11-24T0300", "20261125")
    assert all("several forms" in str(why) for why in told.values())


def test_no_zone_at_all_refuses_names_without_one() -> None:
    with pytest.raises(NoPointError, match="no time zone"):
        read("2026-11-25T030000", Zone(zone=None))
