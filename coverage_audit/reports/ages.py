"""The age of hardware, in years and months as people count them."""

from __future__ import annotations

from datetime import date

from coverage_audit.reckoning.service_life import SERVICE_LIFE


def life_ends(in_service: date) -> date:
    """Return the day on which the usual service life ends (of one begun on a leap day: the first of March)."""
    year = in_service.year + SERVICE_LIFE
    try:
        return in_service.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def age_in_years(in_service: date, today: date) -> str:
    """Say an age in whole years and months; what is to come has none."""
    if today < in_service:
        return f"none yet: its service begins on {in_service}"
    months = 12 * (today.year - in_service.year) + today.month - in_service.month - (today.day < in_service.day)
    years, rest = divmod(months, 12)
    said = [f"{count} {word}{'' if count == 1 else 's'}" for count, word in ((years, "year"), (rest, "month")) if count]
    return " ".join(said) or "under a month"
