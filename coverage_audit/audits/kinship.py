"""Kinship: copies of one dataset that look as if one of them was made of the other, though none says so."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from itertools import combinations
from pathlib import Path
from typing import Final

from coverage_audit.comparison.resembling import alike
from coverage_audit.comparison.types import Workspace
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import CopyComparison
from coverage_audit.evidence.kinship import Resemblance
from coverage_audit.judgement.case import CopyEvidence
from coverage_audit.judgement.descent import sources_of

_MOST: Final = 100_000
"""Of copies that have more against them than this nothing can be told: they lack nearly all, or are no copies."""


def resemblances(copies: Sequence[CopyEvidence], work: Workspace) -> tuple[Resemblance, ...]:
    """Hold every two copies together that lie on different devices and are not declared to be kin."""
    declared = [copy.copy for copy in copies]
    found = []
    for one, other in combinations(copies, 2):
        lines = [{each.copy.address, *sources_of(each.copy, declared)} for each in (one, other)]
        first, second = _against(one.comparison), _against(other.comparison)
        if lines[0] & lines[1] or one.place.device.id == other.place.device.id or first is None or second is None:
            continue
        with suppress(ComparisonError):  # it costs this hint alone
            in_common = alike(first, second, work)
            if in_common.lacking or in_common.damaged:
                found.append(Resemblance(first=one.copy.address, second=other.copy.address, alike=in_common))
    return tuple(found)


def _against(found: CopyComparison | None) -> Path | None:
    """Return the rows of a copy that has something against it, and not too much."""
    if found is None or found.relation is None:
        return None
    count = found.counting_rows + found.own.files + found.content.files
    return found.relation if 0 < count <= _MOST else None
