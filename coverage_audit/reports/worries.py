"""The worries of a page, each with when it began."""

from __future__ import annotations

from dataclasses import dataclass

from coverage_audit.reports.page_words import Clock, Moment
from coverage_audit.reports.situation import Situation, Worry


@dataclass(frozen=True, kw_only=True)
class WorryView:
    """One worry, with when it began and for how long it has been so."""

    worry: Worry
    since: Moment | None


def worries_view(summed: Situation, clock: Clock) -> tuple[WorryView, ...]:
    """Prepare the worries, in their order."""
    return tuple(WorryView(worry=worry, since=clock.maybe(worry.since)) for worry in summed.worries)
