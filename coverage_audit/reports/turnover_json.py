"""What an original lost and rewrote at once, as part of the audit's JSON object."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from coverage_audit.evidence.turnover import FormerFile, MassChange, Turnover, Watched
from coverage_audit.evidence.visible import visible
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, path_object, tally_object

_TALLIES: Final = ("before", "now", "lost", "moved", "arrived", "rewritten", "suffixed")


def turnover_json(watched: Watched | None) -> Json:
    """Return the turnover since the last listing, and the change that stands (null: it was not looked at)."""
    if watched is None:
        return None
    return {
        "since_last": None if watched.last is None else _turnover(watched.last),
        "why_not": watched.why_not,
        "audits_known": watched.known,
        "standing": None if watched.standing is None else _standing(watched.standing),
    }


def _standing(change: MassChange) -> Json:
    return {
        **_turnover(change.turnover),
        "met": rfc3339(change.since),
        "seen_at": rfc3339(change.seen_at),
        "signs": list(change.signs),
        "accepted": rfc3339(change.accepted),
        "readable": change.readable,
    }


def _turnover(turnover: Turnover) -> Mapping[str, Json]:
    tallies = {name: getattr(turnover, name) for name in _TALLIES}
    return {
        "before_at": rfc3339(turnover.before_at),
        "at": rfc3339(turnover.at),
        **{name: tally_object(tally) for name, tally in tallies.items()},
        "suffix": visible(turnover.suffix),
        "largest": [_file(file) for file in turnover.largest],
        "oldest": [_file(file) for file in turnover.oldest],
    }


def _file(file: FormerFile) -> Json:
    return {**path_object(file.path), "bytes": file.size}
