"""One answer out of what a worker said; what it did not say becomes a gap of its own subject."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from coverage_audit.collectors.errands import Ended, SeenDevice, SeenVolume, Word
from coverage_audit.estate.model import Address, Copy
from coverage_audit.evidence.collected import Answer, Question, SeenPoints, SeenTree
from coverage_audit.evidence.facts import Gap, GapKind, PointList


def assemble(question: Question, words: Sequence[Word], *, lacking: Ended, at: datetime) -> Answer:
    """Build the answer; `lacking` says why whatever was asked and not said is missing, `at` when."""

    def gap(subject: object) -> Gap:
        kind = lacking.kind or GapKind.CUT
        return Gap(subject=str(subject), kind=kind, detail=lacking.detail or "no answer came", at=at)

    devices = [word.outcome for word in words if isinstance(word, SeenDevice)]
    volumes = {word.volume: word.outcome for word in words if isinstance(word, SeenVolume)}
    points = {word.address: word for word in words if isinstance(word, SeenPoints)}
    trees = {word.address: word for word in words if isinstance(word, SeenTree)}
    for copy in question.pointed:
        points.setdefault(copy.address, SeenPoints(address=copy.address, outcome=gap(copy.address)))
    for address, point_of in _trees_due(question, points):
        trees.setdefault(address, SeenTree(address=address, outcome=gap(address), point_of=point_of))
    surveyed = tuple(
        trees.get(address) or SeenTree(address=address, outcome=gap(address)) for address in question.surveyed
    )
    for address in set(question.surveyed) - set(question.trees):
        trees.pop(address, None)
    return Answer(
        device=question.device,
        at=at,
        facts=devices[-1] if devices else gap(question.device.id),
        volumes=tuple(volumes.get(volume.key) or gap(volume.key) for volume in question.volumes),
        trees=tuple(trees.values()),
        points=tuple(points.values()),
        surveyed=surveyed,
    )


def _trees_due(question: Question, points: Mapping[Address, SeenPoints]) -> Iterator[tuple[Address, Address | None]]:
    """Give the place of every tree that was asked for, with the dated copy that it is a point of."""
    for address in question.trees:
        yield address, None
    for copy in question.pointed:
        newest = point_to_walk(question, copy, points[copy.address].outcome)
        if newest is not None:
            yield newest, copy.address


def point_to_walk(question: Question, copy: Copy, outcome: PointList | Gap) -> Address | None:
    """Return the place of the newest point that is not to be skipped; None where there is none, or no tree of it."""
    if isinstance(outcome, Gap) or copy.is_opaque:
        return None
    places = (copy.address.at_point(point.name) for point in reversed(outcome.points))
    return next((place for place in places if place not in question.skip_points), None)
