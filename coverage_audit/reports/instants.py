"""Instants and spans as the outputs write them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_SPANS = ((365, "year"), (30, "month"), (7, "week"), (1, "day"))
_HOURS_TO = timedelta(hours=48)
_WEEKS_FROM = timedelta(days=21)


def rfc3339(instant: datetime | None) -> str | None:
    """Write an instant after RFC 3339 section 5.6, in UTC with `Z`; None stays None."""
    return instant.astimezone(UTC).isoformat().replace("+00:00", "Z") if instant is not None else None


def short_span(span: timedelta) -> str:
    """Say a span in one unit, cut and not rounded: `<1 min`, `40 min`, `26 h`, `11 days`, `5 weeks`, `3 months`.

    A month is 30 days here and a year 365: a label's precision, not a figure to reckon with.
    """
    if span < timedelta(minutes=1):
        return "<1 min"
    if span < timedelta(hours=1):
        return f"{span // timedelta(minutes=1)} min"
    if span < _HOURS_TO:
        return f"{span // timedelta(hours=1)} h"
    for days, unit in _SPANS:
        count = span // timedelta(days=days)
        if unit == "week" and span < _WEEKS_FROM:
            continue
        if count >= (2 if unit in {"year", "month"} else 1):
            return f"{count} {unit}s"
    return f"{span.days} days"
