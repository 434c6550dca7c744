"""What passes between the daemon and the process of a night or a weekly page: an errand goes in, a report out.

Frozen values over private pipes between two processes of one program; nothing of it is stored or comes from a box.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from coverage_audit.daemon.due import Night

_HEAD: Final = 8  # bytes of a value's length, before it


@dataclass(frozen=True, kw_only=True)
class NightErrand:
    """Audit the estate of `text` (read from `file`) in this night, and put its news into the outbox."""

    state: Path
    file: Path
    text: str
    night: Night


@dataclass(frozen=True, kw_only=True)
class PageErrand:
    """Make the weekly page of this local date out of what is recorded, and put it into the outbox."""

    state: Path
    file: Path
    text: str
    page_of: date


Errand = NightErrand | PageErrand


@dataclass(frozen=True, kw_only=True)
class Report:
    """What a process did: `said` in a few words, or why it `failed`."""

    said: str = ""
    failed: str = ""


def packed(value: Errand | Report) -> bytes:
    """Return a value as it travels: its length, then itself."""
    body = pickle.dumps(value)
    return len(body).to_bytes(_HEAD, "big") + body


def unpacked(piece: bytes) -> object:
    """Return the value in bytes that were read, None where they were cut."""
    end = _HEAD + int.from_bytes(piece[:_HEAD], "big")
    if len(piece) < _HEAD or len(piece) < end:
        return None
    return pickle.loads(piece[_HEAD:end])  # noqa: S301 - written by this program's own other process a moment ago
