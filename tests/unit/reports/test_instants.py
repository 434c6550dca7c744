"""Instants and spans as outputs write them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from coverage_audit.reports.instants import rfc3339, short_span


def test_instants_are_those_of_rfc_3339_in_utc() -> None:
    # RFC 3339 section 5.8: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z
    assert rfc3339(datetime(1996, 12, 19, 16, 39, 57, tzinfo=timezone(timedelta(hours=-8)))) == "1996-12-20T00:39:57Z"
    assert rfc3339(datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC)) == "1985-04-12T23:20:50.520000Z"
    assert rfc3339(None) is None


@pytest.mark.parametrize(
    ("span", "said"),
    [
        (timedelta(0), "<1 min"),
        (timedelta(minutes=40), "40 min"),
        (timedelta(hours=1), "1 h"),
        (timedelta(hours=47, minutes=59), "47 h"),
        (timedelta(hours=48), "2 days"),
        (timedelta(days=20, hours=23), "20 days"),
        (timedelta(days=21), "3 weeks"),
        (timedelta(days=59), "8 weeks"),
        (timedelta(days=60), "2 months"),
        (timedelta(days=729), "24 months"),
        (timedelta(days=730), "2 years"),
    ],
)
def test_a_short_span_has_one_unit_and_is_cut(span: timedelta, said: str) -> None:
    assert short_span(span) == said
