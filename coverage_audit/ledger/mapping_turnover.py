"""What changed at once, and the shares of a night, as JSON and back. Paths are bytes: they are kept in base64."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.turnover import FormerFile, MassChange, Shares, Sign, Turnover

_TALLIES = ("before", "now", "gone", "moved", "arrived", "changed", "emptied", "suffixed", "touched")


def store_shares(shares: Shares) -> Sequence[float]:
    """Return the stored form of a night's shares."""
    return [shares.lost_files, shares.lost_bytes, shares.rewritten, shares.touched]


def load_shares(stored: Sequence[float]) -> Shares:
    """Return a night's shares. Earlier versions kept no share of what was touched."""
    lost_files, lost_bytes, rewritten, *later = stored
    touched = later[0] if later else 0.0
    return Shares(lost_files=lost_files, lost_bytes=lost_bytes, rewritten=rewritten, touched=touched)


def store_change(change: MassChange) -> Mapping[str, Any]:
    """Return the stored form of a change that stands."""
    return {
        "since": change.since.isoformat(),
        "seen_at": change.seen_at.isoformat(),
        "grown": None if change.grown is None else change.grown.isoformat(),
        "signs": [sign.value for sign in change.signs],
        "turnover": _stored(change.turnover),
    }


def load_change(stored: Mapping[str, Any]) -> MassChange:
    """Return a change as the last audit left it; its figures are of then, until it is compared again."""
    return MassChange(
        since=datetime.fromisoformat(stored["since"]),
        seen_at=datetime.fromisoformat(stored["seen_at"]),
        grown=None if stored["grown"] is None else datetime.fromisoformat(stored["grown"]),
        signs=tuple(Sign(sign) for sign in stored["signs"]),
        turnover=_loaded(stored["turnover"]),
        readable=False,
    )


def _stored(turnover: Turnover) -> Mapping[str, Any]:
    return {
        "before_at": turnover.before_at.isoformat(),
        "at": turnover.at.isoformat(),
        **{name: _tally(getattr(turnover, name)) for name in _TALLIES},
        "shrunk": turnover.shrunk,
        "suffix": _text(turnover.suffix),
        "largest": [_file(file) for file in turnover.largest],
        "oldest": [_file(file) for file in turnover.oldest],
    }


def _loaded(stored: Mapping[str, Any]) -> Turnover:
    return Turnover(
        before_at=datetime.fromisoformat(stored["before_at"]),
        at=datetime.fromisoformat(stored["at"]),
        **{name: Tally(files=stored[name][0], bytes=stored[name][1]) for name in _TALLIES if name in stored},
        shrunk=stored["shrunk"],
        suffix=base64.b64decode(stored["suffix"]),
        largest=tuple(_named(file) for file in stored["largest"]),
        oldest=tuple(_named(file) for file in stored["oldest"]),
    )


def _tally(tally: Tally) -> list[int]:
    return [tally.files, tally.bytes]


def _file(file: FormerFile) -> list[Any]:
    return [_text(file.path), file.size, file.mtime_ns]


def _named(stored: Sequence[Any]) -> FormerFile:
    return FormerFile(path=base64.b64decode(stored[0]), size=stored[1], mtime_ns=stored[2])


def _text(name: bytes) -> str:
    return base64.b64encode(name).decode("ascii")
