"""All that a comparison sees beside what differs, gathered once the relation is written."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from coverage_audit.comparison.colliding import colliding
from coverage_audit.comparison.kept_as import kept_as
from coverage_audit.comparison.leading_out import leading_out
from coverage_audit.comparison.open_files import open_files
from coverage_audit.comparison.refused_names import refused_names
from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest


def sights(
    engine: Engine, pair: tuple[Manifest, Manifest], relation: Path, *, retimed: int, roots: Sequence[bytes] | None
) -> tuple[Seen, ...]:
    """Look at the original and the copy of a `pair` whose differing rows stand in `relation`.

    `retimed` files are held by digest under another time; `roots` are as `leading_out` takes them (None: links are not
    looked at). Raises EvidenceError and ComparisonError where a file cannot be read.
    """
    original, copy = pair
    return (
        *((Seen(sight=Sight.RETIMED, entries=retimed),) if retimed else ()),
        *colliding(relation, copy.file),
        *refused_names(relation),
        *open_files(original, relation),
        *kept_as(engine, original, copy, relation),
        *(leading_out(engine, copy, roots) if roots is not None else ()),
    )
