"""Which manifests and relations are still needed: by the next comparison, by a finding, by an exposure."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta

from sqlalchemy import Connection, func, select

from coverage_audit.ledger.tables import AUDITS, COMPARISONS, MANIFESTS
from coverage_audit.ledger.turnover_book import last_of_each_place

NEWEST_KEPT = 3
"""How many of the newest manifests of each place are kept whatever they are."""

PAIRS_KEPT = timedelta(days=400)
"""How long the last comparison of a pair is kept: a pair that left the estate is let go in the end."""


def needed_manifests(connection: Connection, now: datetime) -> set[str]:
    """Return the files of the newest manifests of each place, and of those that a last comparison rests on.

    A place is the declared address; of a dated copy its points are one place. For each: the newest three, the
    newest complete one of a trusted volume, and the newest of a trusted volume. Besides, with what each place is to be
    compared next: while a change of much at once stands, that is the state before it.
    """
    rows = connection.execute(
        select(MANIFESTS).where(MANIFESTS.c.file.is_not(None)).order_by(MANIFESTS.c.id.desc())
    ).all()
    resting = _rested_on(connection, now)
    resting |= {row.against for row in last_of_each_place(connection, now - PAIRS_KEPT) if row.against is not None}
    needed: set[str] = set()
    seen: dict[tuple[str, str, str], int] = defaultdict(int)
    trusted: set[tuple[tuple[str, str, str], bool]] = set()
    for row in rows:
        place = (row.device, row.volume, row.path)
        seen[place] += 1
        newest_of_its_sort = row.trusted and (place, row.complete) not in trusted
        if newest_of_its_sort:
            trusted.add((place, row.complete))
        if seen[place] <= NEWEST_KEPT or newest_of_its_sort or row.id in resting:
            needed.add(row.file)
    return needed


def needed_relations(connection: Connection, now: datetime) -> set[str]:
    """Return the relations of the last comparison of each pair."""
    last = _last_of_each_pair(connection, now)
    rows = connection.execute(select(COMPARISONS.c.id, COMPARISONS.c.relation))
    return {row.relation for row in rows if row.id in last and row.relation is not None}


def needed_rows(connection: Connection, now: datetime) -> set[str]:
    """Return the files of what went or changed by a change that stands."""
    return {row.rows for row in last_of_each_place(connection, now - PAIRS_KEPT) if row.rows is not None}


def _rested_on(connection: Connection, now: datetime) -> set[int]:
    last = _last_of_each_pair(connection, now)
    rows = connection.execute(select(COMPARISONS.c.id, COMPARISONS.c.original, COMPARISONS.c.copy))
    return {number for row in rows if row.id in last for number in (row.original, row.copy) if number is not None}


def _last_of_each_pair(connection: Connection, now: datetime) -> set[int]:
    pair = (COMPARISONS.c.dataset, COMPARISONS.c.device, COMPARISONS.c.volume, COMPARISONS.c.path)
    rows = connection.execute(
        select(func.max(COMPARISONS.c.id).label("id"), func.max(AUDITS.c.started).label("at"))
        .join(AUDITS, AUDITS.c.id == COMPARISONS.c.audit)
        .group_by(*pair)
    )
    return {row.id for row in rows if row.at >= now - PAIRS_KEPT}
