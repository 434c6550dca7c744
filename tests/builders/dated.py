"""Cases of copies with recovery points: a policy that asks for them, points by their local times, and their past."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import Copy
from coverage_audit.estate.sources import DatedFiles
from coverage_audit.evidence.facts import PointList, RecoveryPoint
from coverage_audit.evidence.points_past import PointsPast, begun_with, brought_up_to
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.verdict import Finding
from tests.builders.cases import a_case, a_dated_copy, a_point, judged_dataset
from tests.builders.station import HERON, POLICY, SEEN, an_address

DUBLIN = ZoneInfo("Europe/Dublin")
DAY = timedelta(days=1)
ONE = replace(POLICY, copies=1, media=None, offsite=None)
"""A policy that one copy satisfies, so that a rule's answer is all that is left to look at."""


def nights(*ages: int, size: int | None = None) -> tuple[RecoveryPoint, ...]:
    """Points of 02:00 by Dublin's clocks, so many days before the audit of the tests (0: of its own night)."""
    today = SEEN.astimezone(DUBLIN).replace(hour=2, minute=0, tzinfo=None)
    found = []
    for age in sorted(ages, reverse=True):
        local = today - age * DAY
        found.append(a_point(local.date().isoformat(), local.replace(tzinfo=DUBLIN).astimezone(UTC), size=size))
    return tuple(found)


def kept(points: Iterable[RecoveryPoint], **values: Any) -> CopyEvidence:
    """A copy on heron that shows these points, and whose newest was compared."""
    return a_dated_copy(HERON, *points, **values)


def dumps(points: Iterable[RecoveryPoint], **values: Any) -> CopyEvidence:
    """A copy on heron that consists of dated files."""
    copy = Copy(address=an_address("heron:pool/dumps/{point}"), points=DatedFiles())
    return a_dated_copy(HERON, *points, copy=copy, comparison=None, point=None, **values)


def past_of(evidence: CopyEvidence, *before: tuple[int, Sequence[RecoveryPoint]]) -> PointsPast:
    """The past of a copy: lists of so many days ago, the first first, and then the one that it shows."""
    assert isinstance(evidence.points, PointList)
    lists = [replace(evidence.points, at=SEEN - age * DAY, points=tuple(points)) for age, points in before]
    lists.append(evidence.points)
    past = begun_with(lists[0])
    for earlier, later in pairwise(lists):
        past = brought_up_to(past, earlier, later)
    return past


def remembering(evidence: CopyEvidence, *before: tuple[int, Sequence[RecoveryPoint]]) -> CopyEvidence:
    """The copy with its past."""
    return replace(evidence, past=past_of(evidence, *before))


def asked(*copies: CopyEvidence, **criteria: Any) -> DatasetCase:
    """The recordings, held against these criteria."""
    return a_case(*copies, policy=replace(ONE, **criteria))


def found_by(rule: str, case: DatasetCase) -> Finding:
    """The only finding of a rule."""
    (found,) = [finding for finding in judged_dataset(case).findings if finding.rule == rule]
    return found


def instant(text: str, zone: ZoneInfo = DUBLIN) -> datetime:
    """An instant by local clocks."""
    return datetime.fromisoformat(text).replace(tzinfo=zone).astimezone(UTC)
