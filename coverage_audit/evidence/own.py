"""What the auditor itself could lose: where its ledger, its estate file and its keys lie."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class OwnPart(StrEnum):
    """What there is of its own, by the words that findings use."""

    LEDGER = "ledger"
    ESTATE = "estate"
    KEYS = "keys"


@dataclass(frozen=True, kw_only=True)
class OwnPlace:
    """A file or folder of the auditor's own: absolute, and without links on its way.

    `inside` is the name of a file in a folder by which it is tried whether patterns leave its content out.
    """

    part: OwnPart
    path: str
    is_folder: bool = False
    inside: str | None = None


@dataclass(frozen=True, kw_only=True)
class OwnPlaces:
    """Everything of the auditor's own.

    `database` is the ledger's file (None: it is kept by a database server), `dump` the folder in which a copy of the
    ledger that was made by its own means is looked for, `dumped` when the newest file there was written (None:
    there is none).
    """

    places: tuple[OwnPlace, ...]
    database: OwnPlace | None
    dump: OwnPlace
    dumped: datetime | None = None
