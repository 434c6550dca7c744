"""A ledger that an audit has open, in a state folder of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """Return the ledger of `tmp_path / "state"`, to write to."""
    with exclusive(tmp_path / "state"), open_ledger(tmp_path / "state") as opened:
        yield opened
