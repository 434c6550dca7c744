"""The shape of a policy's criteria that have parts of their own."""

from __future__ import annotations

from typing import Annotated

from pydantic import Discriminator, Field, Tag

from coverage_audit.estate.leaves import Duration, ExactShare, Often, WeekdayWord
from coverage_audit.estate.strict import Strict

Slots = Annotated[int, Field(ge=1, le=1000)]


class KeepShape(Strict):
    """The older states that are kept: how many of the last whole days, weeks, months and years, or how far back."""

    daily: Slots | None = None
    weekly: Slots | None = None
    monthly: Slots | None = None
    yearly: Slots | None = None
    span: Duration | None = None


class RhythmShape(Strict):
    """How often a point comes, the weekdays on which none does, and how late it may be."""

    every: Often
    quiet: Annotated[list[WeekdayWord], Field(max_length=6)] = []
    tolerance: Duration | None = None


class VerifyShape(Strict):
    """How much a sample of the content must show, and how often it is drawn."""

    confidence: ExactShare
    tolerable: ExactShare
    every: Duration


class DrillShape(Strict):
    """How often files are read back from a copy."""

    every: Duration


def _kind_of_rhythm(value: object) -> str:
    return "(parts)" if isinstance(value, dict | RhythmShape) else "(text)"


RhythmText = Annotated[
    Annotated[Often, Tag("(text)")] | Annotated[RhythmShape, Tag("(parts)")], Discriminator(_kind_of_rhythm)
]
