"""A whole year in a ledger, recorded once for all tests of a process that look back on it."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from coverage_audit.audits.looking_back import LookedBack, begin_of, look_back
from coverage_audit.ledger.opening import exclusive, open_ledger
from tests.builders.year_kept import LAST, NOW, estate_at, keep_the_year

_MEMORY = Path("/dev/shm")


@pytest.fixture(scope="session")
def year_state() -> Iterator[Path]:
    """The state folder with the year in its ledger (in memory, where 360 commits wait for no disk). To be read only."""
    folder = Path(tempfile.mkdtemp(prefix="year-", dir=_MEMORY if os.access(_MEMORY, os.W_OK) else None))
    with exclusive(folder), open_ledger(folder) as ledger:
        keep_the_year(ledger)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def looked_back(year_state: Path) -> LookedBack:
    """The year, looked back on from its first night."""
    estate = estate_at(LAST)
    with open_ledger(year_state) as ledger:
        looked = look_back(estate, begin_of("2025-11-27", NOW, estate.time_zone), ledger, NOW)
    assert looked is not None
    return looked
