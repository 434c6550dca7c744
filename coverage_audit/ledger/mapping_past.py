"""The stored form of what is remembered of a copy's recovery points."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from coverage_audit.evidence.points_past import LeftPoint, PointsPast


def store_past(past: PointsPast) -> Mapping[str, Any]:
    """Return the stored form of a copy's past."""
    return {
        "since": past.since.isoformat(),
        "oldest": None if past.oldest is None else past.oldest.isoformat(),
        "left": [
            [one.name, one.at.isoformat(), one.seen.isoformat(), one.gone.isoformat(), one.oldest, one.size]
            for one in past.left
        ],
        "listed": [at.isoformat() for at in past.listed],
        "rewritten": list(past.rewritten),
    }


def load_past(stored: Mapping[str, Any]) -> PointsPast:
    """Return a copy's past."""
    return PointsPast(
        since=datetime.fromisoformat(stored["since"]),
        oldest=None if stored["oldest"] is None else datetime.fromisoformat(stored["oldest"]),
        left=tuple(_left(*one) for one in stored["left"]),
        listed=tuple(datetime.fromisoformat(at) for at in stored["listed"]),
        rewritten=tuple(stored.get("rewritten", ())),
    )


def _left(name: str, at: str, seen: str, gone: str, oldest: bool, size: int | None) -> LeftPoint:  # noqa: FBT001 - as stored
    return LeftPoint(
        name=name,
        at=datetime.fromisoformat(at),
        seen=datetime.fromisoformat(seen),
        gone=datetime.fromisoformat(gone),
        oldest=oldest,
        size=size,
    )
