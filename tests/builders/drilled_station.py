"""A station whose recordings have one copy, and drills of it."""

from __future__ import annotations

import os
from pathlib import Path

from coverage_audit.evidence.drilling import LEAST_MEASURED, Drill
from coverage_audit.wiring import reading
from tests.builders.two_places import two_places
from tests.parts.station import Ran, Station

NAMES = ("plain.wav", "-rf", "a b/$(touch hole) `id`", "line\nfeed", "\udcff no utf-8", "…/⁂", "x" * 255)
"""Hostile names of small files."""

PIECE = 3 * LEAST_MEASURED // 2
"""Bytes of a long file: three of them are enough for a rate."""


def fill(station: Station, access: str = "local", *, every: str = "", longs: int = 3) -> None:
    """A dataset with files of several sizes and hostile names, its copy, and an audit that proves it."""
    for number, name in enumerate(NAMES):
        station.write(f"kestrel/recordings/{name}", bytes([number]) * (1000 * number + 1))
    for number in range(longs):
        station.write(f"kestrel/recordings/long-{number}.wav", os.urandom(PIECE))
    station.mirror("kestrel/recordings", "heron/recordings")
    declare(station, access, every=every)
    assert standing(station) == "proven"


def declare(station: Station, access: str = "local", *, every: str = "") -> None:
    """Declare the two places; `every` asks for drills."""
    asked = f"max_age: 26h, drill: {{every: {every}}}" if every else "max_age: 26h"
    station.declare(two_places(access=access).replace("max_age: 26h", asked))


def standing(station: Station) -> str:
    """Audit, and return the copy's standing."""
    return station.night().judged.datasets[0].copies[0].standing.value


def drilled(station: Station, *words: str) -> Ran:
    """Drill the recordings, in this process."""
    return station.called("drill", "field-recordings", *words)


def recorded(station: Station) -> tuple[Drill, ...]:
    """The drills that the ledger knows, the newest first."""
    with reading(station.state) as ledger:
        return ledger.drills.of(station.estate.datasets[0].id)


def assert_nothing_is_left(station: Station, *folders: Path) -> None:
    """No file of a drill lies anywhere."""
    assert list((station.state / "staging").iterdir()) == []
    for folder in folders:
        assert list(folder.iterdir()) == []
