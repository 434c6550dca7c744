"""The shape of what a volume is made of."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from coverage_audit.estate.leaves import Day, ParityWord, Size
from coverage_audit.estate.strict import Strict


class DriveShape(Strict):
    """One drive, or `count` of a kind."""

    size: Size
    in_service: Day | None = None
    count: Annotated[int, Field(ge=1, le=100)] = 1


class ParityShape(Strict):
    """What is spent so that drives may be lost: its kind, and how many drives' worth."""

    kind: ParityWord
    drives: Annotated[int, Field(ge=1, le=10)] = 1
