"""Drills as JSON and back: all of a drill that is no column of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import Drill, Fate, Incident

Stored = Mapping[str, Any]

_PLAIN = ("point", "chosen", "unread", "changed", "unheld", "by_originals", "named", "way")


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
        "way": drill.way,
        "incidents": [[one.path.hex(), one.fate.value, one.why] for one in drill.incidents],
        "who": drill.who,
        "what": drill.what,
    }


def load_drill(stored: Stored) -> Mapping[str, Any]:
    """Return the fields of a drill that its row keeps in JSON."""
    return {
        **{name: stored[name] for name in _PLAIN},
        "restored": _tally(stored["restored"]),
        "damaged": _tally(stored["damaged"]),
        "incidents": tuple(
            Incident(path=bytes.fromhex(path), fate=Fate(fate), why=why) for path, fate, why in stored["incidents"]
        ),
        "who": stored["who"],
        "what": stored["what"],
    }


def _tally(pair: tuple[int, int]) -> Tally:
    return Tally(files=pair[0], bytes=pair[1])
