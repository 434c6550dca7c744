"""The grammar of usual spellings: every spelling comes back as what was written, and nothing has two meanings.

ISO 8601 forms are held against `isodate`, a parser that is not ours.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import isodate
from hypothesis import assume, example, given
from hypothesis import strategies as st

from coverage_audit.collectors.stamps.local_time import NoPointError, Zone
from coverage_audit.collectors.stamps.spelt import read

INDIA = Zone(zone=ZoneInfo("Asia/Kolkata"))  # no summer time: each wall time is one instant (tz database, since 1945)
instants = st.datetimes(min_value=datetime(2002, 1, 1), max_value=datetime(2098, 12, 31)).map(  # noqa: DTZ001 - wall times
    lambda moment: moment.replace(microsecond=0)
)
offsets = st.sampled_from([-9, -4, -3.5, 0, 1, 5.5, 5.75, 13, 14]).map(lambda hours: timezone(timedelta(hours=hours)))
around = (
    st.sampled_from(["", "dump-", "kestrel_", "v", "daily."]),
    st.sampled_from(["", ".tar", "-1y", "--30d", "_full"]),
)
dates = st.sampled_from(["%Y-%m-%d", "%Y%m%d", "%Y.%m.%d", "%Y_%m_%d", "%G-W%V-%u", "%GW%V%u"])
clocks = st.sampled_from(["%H:%M:%S", "%H%M%S", "%H.%M.%S", "%H_%M_%S", "%H-%M-%S", "%Hh%Mm%Ss"])
betweens = st.sampled_from(["T", "t", " ", "_", "-", "."])
ISO = [
    "%Y-%m-%dT%H:%M:%S",
    "%Y%m%dT%H%M%S",
    "%Y-%m-%dT%H:%M",
    "%Y%m%dT%H%M",
    "%G-W%V-%uT%H:%M:%S",
    "%GW%V%uT%H%M%S",
]


@given(instants, dates, betweens, clocks, *around)
def test_every_spelling_of_date_and_time_comes_back(
    moment: datetime, day: str, between: str, clock: str, before: str, after: str
) -> None:
    name = f"{before}{moment.strftime(day + between + clock)}{after}"

    span = read(name, INDIA).span

    assert span.earliest == span.latest == moment.replace(tzinfo=INDIA.known)
    assert span.assumed


@given(instants, offsets, dates, st.sampled_from(["%H:%M:%S", "%H%M%S"]), st.sampled_from(["T", " ", "_"]), *around)
def test_every_offset_comes_back(
    moment: datetime, zone: timezone, day: str, clock: str, between: str, before: str, after: str
) -> None:
    aware = moment.replace(tzinfo=zone)

    span = read(f"{before}{aware.strftime(day + between + clock + '%z')}{after}", Zone(zone=None)).span

    assert span.earliest == span.latest == aware


@given(instants, st.sampled_from(ISO), st.none() | offsets)
def test_an_iso_8601_spelling_means_what_isodate_says(moment: datetime, form: str, zone: timezone | None) -> None:
    text = moment.replace(tzinfo=zone).strftime(form)
    if zone is not None:
        offset = moment.replace(tzinfo=zone).strftime("%z")
        text += f"{offset[:3]}:{offset[3:]}" if ":" in form else offset
    said = isodate.parse_datetime(text)
    expected = said if said.tzinfo else said.replace(tzinfo=INDIA.known)

    span = read(text, INDIA).span

    assert span.earliest == span.latest == expected


@given(instants, dates, *around)
def test_every_date_alone_comes_back_as_its_day(moment: datetime, day: str, before: str, after: str) -> None:
    span = read(f"{before}{moment.strftime(day)}{after}", INDIA).span

    start = datetime(moment.year, moment.month, moment.day, tzinfo=INDIA.known)
    assert (span.earliest, span.latest) == (start, start + timedelta(days=1))


@given(instants, st.sampled_from(["", "000"]), *around)
def test_seconds_since_1970_come_back(moment: datetime, thousandths: str, before: str, after: str) -> None:
    aware = moment.replace(tzinfo=UTC)
    figure = f"{int(aware.timestamp())}{thousandths}"
    try:
        span = read(f"{before}{figure}{after}", INDIA).span
    except NoPointError:
        # Ten figures that are a date with its hour as well: they would mean two instants.
        assert datetime.strptime(figure, "%Y%m%d%H").replace(tzinfo=UTC).year >= 1900
        return
    assert span.earliest == span.latest == aware


@given(st.integers(1, 28), st.integers(1, 12), st.sampled_from("-._"), *around)
def test_day_and_month_before_the_year_are_always_refused(
    day: int, month: int, mark: str, before: str, after: str
) -> None:
    for first, second in ((day, month), (month, day)):
        try:
            read(f"{before}{first:02}{mark}{second:02}{mark}2026{after}", INDIA)
        except NoPointError:
            continue
        raise AssertionError


@given(instants, instants, dates, clocks)
def test_two_times_that_differ_are_refused(first: datetime, second: datetime, day: str, clock: str) -> None:
    assume(first != second)
    name = f"{first.strftime(day + '_' + clock)} {second.strftime(day + '_' + clock)}"
    try:
        read(name, INDIA)
    except NoPointError:
        return
    raise AssertionError


@given(st.text(alphabet="0123456789-_.:TZ +@GMTWhms", max_size=40) | st.text(max_size=40))
@example("9" * 40)
@example("2099-12-31T23:59:59-14:00")
def test_no_name_makes_it_fail_otherwise_than_by_a_reason(name: str) -> None:
    try:
        span = read(name, INDIA).span
    except NoPointError:
        return
    assert span.earliest <= span.latest
    assert re.search(r"[0-9]{4}", name)
