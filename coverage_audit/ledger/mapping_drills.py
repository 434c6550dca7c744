"""Drills as JSON and back: all of a drill that is no column of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import Drill, Fate, Incident, Outstanding, Shown

Stored = Mapping[str, Any]

_PLAIN = ("point", "chosen", "unread", "changed", "unheld", "by_originals", "named", "way")
_LATER = ("again", "drawn", "drawn_back", "held")
"""What the first drills did not keep: of these none is known."""


def store_drill(drill: Drill) -> Stored:
    """Return the stored form; paths are hex, as they are bytes."""
    return {
        "point": drill.point,
        "chosen": drill.chosen,
        "restored": [drill.restored.files, drill.restored.bytes],
        "damaged": [drill.damaged.files, drill.damaged.bytes],
        "unread": drill.unread,
        "changed": drill.changed,
        "unheld": drill.unheld,
        "by_originals": drill.by_originals,
        "named": drill.named,
        "again": drill.again,
        "drawn": drill.drawn,
        "drawn_back": drill.drawn_back,
        "held": drill.held,
        "shown": [[one.path.hex(), one.size, one.mtime_ns, one.ctime_ns] for one in drill.shown],
        "outstanding": None
        if drill.outstanding is None
        else [[one.path.hex(), one.size, one.mtime_ns] for one in drill.outstanding],
        "way": drill.way,
        "incidents": [[one.path.hex(), one.fate.value, one.why] for one in drill.incidents],
        "who": drill.who,
        "what": drill.what,
    }


def load_drill(stored: Stored) -> Mapping[str, Any]:
    """Return the fields of a drill that its row keeps in JSON."""
    return {
        **{name: stored[name] for name in _PLAIN},
        **{name: stored.get(name, 0) for name in _LATER},
        "shown": tuple(
            Shown(path=bytes.fromhex(path), size=size, mtime_ns=mtime, ctime_ns=ctime)
            for path, size, mtime, ctime in stored.get("shown", ())
        ),
        "outstanding": _outstanding(stored.get("outstanding")),
        "restored": _tally(stored["restored"]),
        "damaged": _tally(stored["damaged"]),
        "incidents": tuple(
            Incident(path=bytes.fromhex(path), fate=Fate(fate), why=why) for path, fate, why in stored["incidents"]
        ),
        "who": stored["who"],
        "what": stored["what"],
    }


def _outstanding(stored: list[tuple[str, int | None, int | None]] | None) -> tuple[Outstanding, ...] | None:
    if stored is None:
        return None
    return tuple(Outstanding(path=bytes.fromhex(path), size=size, mtime_ns=mtime) for path, size, mtime in stored)


def _tally(pair: tuple[int, int]) -> Tally:
    return Tally(files=pair[0], bytes=pair[1])
