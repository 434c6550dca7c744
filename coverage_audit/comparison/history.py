"""Walking the kept listings of the original back in time, until every difference has its start."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from coverage_audit.comparison.finding import FEW, find_listed
from coverage_audit.comparison.intervals import begin_placing, give_up, place
from coverage_audit.comparison.picking import paths_at
from coverage_audit.comparison.terms import Terms, ask
from coverage_audit.comparison.types import Earlier
from coverage_audit.errors import ComparisonError, EvidenceError
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.instants import to_ns
from coverage_audit.evidence.store import open_manifest


@dataclass(frozen=True, kw_only=True)
class Listing:
    """One kept listing of the original: when it started and ended (ns), and where it is."""

    started: int
    finished: int
    file: Path


@dataclass(frozen=True, kw_only=True)
class Reference:
    """The listing of the original that the last comparison used: what did not differ then was held then.

    `started` is when it started (ns). `lost`: there was such a comparison, but that cannot be told from it any more.
    Neither: the pair was never compared.
    """

    started: int | None = None
    lost: bool = False


def kept_listings(earlier: Earlier | None, before_ns: int) -> tuple[Listing, ...]:
    """Return the kept listings that started before this instant, newest first.

    Raises ComparisonError if one of them is missing or damaged.
    """
    found = []
    for started, file in earlier.originals if earlier else ():
        if to_ns(started) < before_ns:
            try:
                origin = open_manifest(file).origin
            except EvidenceError as error:
                raise ComparisonError(f"A kept listing of the original is not there: {error}") from error
            found.append(Listing(started=to_ns(origin.started), finished=to_ns(origin.finished), file=file))
    return tuple(sorted(found, key=lambda listing: -listing.started))


def place_all(
    engine: Engine,
    listings: Collection[Listing],
    terms: Terms,
    *,
    reference: Reference,
    relation: Path,
    seed: bytes,
) -> None:
    """Give every row of `unplaced` its start in `begun`.

    `relation` is the raw relation that the rows' numbers belong to. Raises ComparisonError as `find_listed` does.
    """
    begin_placing(engine)
    met = reference.started is None and not reference.lost
    if reference.started == terms.started:
        _place_by_the_same_listing(engine, terms)
        met = True
    for listing in listings:
        if not met and reference.started is not None and listing.started < reference.started:
            give_up(engine, reference_lost=True, all_rows=False)
            met = True
        if not ask(engine, "SELECT count(*) FROM unplaced"):
            return
        _want(engine, listing, relation, seed)
        is_reference = listing.started == reference.started
        place(engine, started_ns=listing.started, finished_ns=listing.finished, reference=is_reference)
        met = met or is_reference
    give_up(engine, reference_lost=not met, all_rows=True)


def _place_by_the_same_listing(engine: Engine, terms: Terms) -> None:
    """Judge by the listing in hand: the original was not seen anew since the last comparison."""
    engine.execute(
        "CREATE OR REPLACE TEMP TABLE listed AS SELECT key_hi, key_lo, o_kind AS kind, o_size AS size, "
        "o_mtime AS mtime, latest AS ctime, o_target AS target FROM unplaced"
    )
    place(engine, started_ns=terms.started, finished_ns=terms.finished, reference=True)


def _want(engine: Engine, listing: Listing, relation: Path, seed: bytes) -> None:
    engine.execute("CREATE OR REPLACE TEMP TABLE wanted AS SELECT key_hi, key_lo FROM unplaced")
    paths = None
    if ask(engine, "SELECT count(*) FROM unplaced") <= FEW:
        numbers = engine.query("SELECT i FROM unplaced")["i"].to_pylist()
        paths = paths_at(relation, numbers).values()
    find_listed(engine, listing.file, seed, paths)
