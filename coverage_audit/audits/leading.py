"""Leading: where the newest work of a dataset appears first, as far as a mirror and its original show it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.comparison.leading import direction
from coverage_audit.comparison.types import Matched, Workspace
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.evidence.direction import Direction

_FIRST: Final = timedelta(days=7)
"""So far back a first audit looks."""


def leading(matched: Matched, before: datetime | None, work: Workspace) -> Direction | None:
    """Say which side leads since the last comparison, which was at `before` (None: there was none).

    None where it cannot be told; what stands in the way costs this answer alone.
    """
    since = before if before is not None else matched.original.origin.started - _FIRST
    with suppress(ComparisonError, EvidenceError):
        return direction(matched, since=since, work=work)
    return None
