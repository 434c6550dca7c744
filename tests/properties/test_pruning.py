"""Pruning never takes a file that the next audit, a finding or an exposure still needs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.model import Address
from coverage_audit.ledger.folder import StateFolder
from coverage_audit.ledger.keeping import sweep
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.needed import NEWEST_KEPT, PAIRS_KEPT
from coverage_audit.ledger.record import AuditRecord, Compared, SeenManifest
from tests.builders.kept import a_compared, a_seen_manifest, a_staged_file
from tests.builders.recorded import COPY, ESTATE_TEXT, HERON, ORIGINAL, RECORDINGS, a_judged, night
from tests.parts.databases import NewLedger

DATED = Address(volume=HERON, path=".points/{point}/recordings")
COPIES = (COPY, DATED)


@dataclass(frozen=True)
class Seen:
    """How one place was seen in one audit (None there: not at all)."""

    complete: bool
    trusted: bool


@dataclass(frozen=True)
class Night:
    """What an audit saw, which copies it could compare, and how many days after the one before it ran."""

    original: Seen | None
    copies: tuple[Seen | None, ...]
    compares: tuple[bool, ...]
    days: int


seen = st.none() | st.builds(Seen, st.booleans(), st.booleans())
nights = st.lists(
    st.builds(
        Night, seen, st.tuples(seen, seen), st.tuples(st.booleans(), st.booleans()), st.sampled_from([1, 1, 1, 40, 500])
    ),
    max_size=14,
)


@dataclass
class Model:
    """What must still be there, kept in plain dictionaries of the files' content."""

    newest_complete: dict[Address, bytes]
    compared: dict[Address, tuple[datetime, bytes, bytes, bytes]]
    last_original: tuple[Path, bytes] | None = None


def audit(ledger: Ledger, number: int, at: datetime, one: Night, model: Model) -> None:
    """Record one audit, and note in the model what it leaves to be kept."""
    staging = ledger.staging(at)
    places: list[tuple[Address, Seen | None]] = [(ORIGINAL, one.original), *zip(COPIES, one.copies, strict=True)]
    manifests: dict[Address, SeenManifest] = {}
    for address, how in places:
        if how is None:
            continue
        point = f"{number}" if address.has_point else None
        made = a_seen_manifest(staging, at, address, complete=how.complete, trusted=how.trusted, point=point)
        made.manifest.file.write_bytes(f"{address} {number}".encode())
        manifests[address] = made
        if how.complete and how.trusted:
            model.newest_complete[address] = made.manifest.file.read_bytes()
    comparisons = tuple(compare(staging, at, one, manifests, model))
    record = AuditRecord(
        judged=a_judged(at), estate_text=ESTATE_TEXT, manifests=tuple(manifests.values()), comparisons=comparisons
    )
    moved = ledger.record(record).moved
    if ORIGINAL in manifests:
        file = moved[manifests[ORIGINAL].manifest.file]
        model.last_original = (file, file.read_bytes())


def compare(
    staging: Path, at: datetime, one: Night, manifests: dict[Address, SeenManifest], model: Model
) -> list[Compared]:
    made = []
    for address, compares in zip(COPIES, one.compares, strict=True):
        original = manifests[ORIGINAL].manifest.file if ORIGINAL in manifests else None
        if original is None and model.last_original is not None and model.last_original[0].exists():
            original = model.last_original[0]
        if not compares or original is None or address not in manifests:
            continue
        copy = manifests[address].manifest.file
        relation = a_staged_file(staging, f"relation {address} {at}".encode())
        made.append(a_compared(original, copy, relation, at, copy_address=address))
        model.compared[address] = (at, original.read_bytes(), copy.read_bytes(), relation.read_bytes())
    return made


def check(ledger: Ledger, state: Path, model: Model, now: datetime) -> None:
    present = {file.read_bytes() for file in (state / "manifests").iterdir()}
    assert set(model.newest_complete.values()) <= present
    for address, (at, original, copy, relation) in model.compared.items():
        if now - at > PAIRS_KEPT:
            continue
        known = ledger.earlier(RECORDINGS, address)
        assert known is not None
        assert known.relation is not None
        assert known.relation.read_bytes() == relation
        assert known.copy_manifest is not None
        assert known.copy_manifest.read_bytes() == copy
        assert original in present
        kept = [file.read_bytes() for _, file in known.originals]
        assert kept == list(dict.fromkeys(kept))
        if ORIGINAL in model.newest_complete:
            assert kept[-1] == model.newest_complete[ORIGINAL]
    assert len(present) <= 3 * (NEWEST_KEPT + 2) + 2 * len(model.compared)
    assert len(list((state / "relations").iterdir())) <= len(model.compared)


@settings(max_examples=20, deadline=None)
@given(nights)
def test_what_is_still_needed_is_never_pruned_and_the_rest_is(new_ledger: NewLedger, history: list[Night]) -> None:
    with new_ledger() as (ledger, folder):
        model = Model(newest_complete={}, compared={})
        now = night(0)
        for number, one in enumerate(history):
            now += timedelta(days=one.days)
            audit(ledger, number, now, one, model)
            ledger.prune(now)
            check(ledger, folder, model, now)
        files = set(folder.rglob("*s/*.parquet"))
        sweep(ledger._engine, StateFolder(path=folder))  # nothing that pruning left is unknown to the ledger
        assert set(folder.rglob("*.parquet")) == files
