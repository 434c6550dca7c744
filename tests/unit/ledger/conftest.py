from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import exclusive, open_ledger


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str | None:
    """The address of an empty database of either kind."""
    return request.getfixturevalue("postgresql_url") if request.param == "postgresql" else None


@pytest.fixture
def state(tmp_path: Path) -> Path:
    return tmp_path / "state"


@pytest.fixture
def reopen(state: Path, url: str | None) -> Callable[[], Ledger]:
    """Open the ledger of the test, again and again."""
    return lambda: open_ledger(state, url)


@pytest.fixture
def ledger(state: Path, reopen: Callable[[], Ledger]) -> Iterator[Ledger]:
    """An empty ledger on either database, held by this test."""
    with exclusive(state), reopen() as opened:
        yield opened
