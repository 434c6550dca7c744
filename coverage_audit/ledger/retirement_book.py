"""The retirements that were asked for: what each was answered, as its JSON, one file each in the state folder.

They are records for people: whose word it was that something need not be kept, and what was seen when. Of them only
one thing is read back: files that were found to have another content than before, under the same figures. What is
remembered of their content is no evidence any more.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from coverage_audit.errors import LedgerError
from coverage_audit.ledger.folder import StateFolder, speaking_of, stamp, write_whole


class RetirementBook:
    """The retirements of one state folder. Every method raises LedgerError where it fails."""

    def __init__(self, folder: StateFolder) -> None:
        self._state = folder.path
        self._folder = folder.path / "retirements"

    def keep(self, at: datetime, answer: str) -> Path:
        """Keep an answer; return its file. Only within `exclusive`."""
        with speaking_of(self._state):
            self._folder.mkdir(mode=0o700, exist_ok=True)
            file = self._folder / f"{stamp(at)}.json"
            write_whole(file, answer.encode("utf-8"))
            return file

    def spoilt(self) -> Mapping[str, frozenset[bytes]]:
        """Return the files that were once found to have changed under the same figures: paths by address."""
        found: dict[str, set[bytes]] = {}
        with speaking_of(self._state):
            files = sorted(self._folder.glob("*.json"))
            texts = [(file, file.read_text(encoding="utf-8")) for file in files]
        for file, text in texts:
            for address, path in _spoilt(file, text):
                found.setdefault(address, set()).add(path)
        return {address: frozenset(paths) for address, paths in found.items()}


def _spoilt(file: Path, text: str) -> Sequence[tuple[str, bytes]]:
    try:
        told = json.loads(text)["spoilt"]
        return [(one["at"], bytes.fromhex(one["path_hex"])) for one in told]
    except (ValueError, KeyError, TypeError) as error:
        raise LedgerError(f"{file} is damaged ({error}): put back a copy of it, or move it away") from error
