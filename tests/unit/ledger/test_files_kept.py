from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from coverage_audit.errors import LedgerError
from coverage_audit.estate.model import Address, VolumeId, VolumeKey
from coverage_audit.evidence.difference import TakeUp
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import SeenManifest
from coverage_audit.ledger.tables import AUDITS, MANIFESTS
from tests.builders.kept import a_compared, a_seen_manifest, a_staged_file
from tests.builders.manifests import SEED, a_manifest, a_row
from tests.builders.nights import one_night, recorded
from tests.builders.recorded import (
    COPY,
    HERON,
    ORIGINAL,
    RECORDINGS,
    night,
)


def test_the_last_comparison_comes_back_with_what_it_rested_on(ledger: Ledger, state: Path) -> None:
    assert ledger.earlier(RECORDINGS, COPY) is None
    one_night(ledger, 1, progress=1)
    one_night(ledger, 2, progress=1)
    recorded(ledger, 3, manifests=(a_seen_manifest(ledger.staging(night(3)), night(3)),))
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert known.at == night(2) + timedelta(minutes=1)  # its original's listing began after the audit
    assert known.first_at == night(1)
    assert known.take_up == TakeUp(last_progress=night(1), gone_unheld=3, pending_since=night(1))
    started = [at for at, _ in known.originals]
    assert started == [night(1) + timedelta(minutes=1), night(2) + timedelta(minutes=1), night(3)]
    assert known.relation is not None
    assert known.relation.read_bytes() == b"differences"
    assert known.copy_manifest is not None
    assert known.copy_manifest.parent == state / "manifests"
    assert not list((state / "staging").glob("*/*.parquet"))


def test_partial_or_untrusted_listings_of_the_original_are_no_ground_to_stand_on(ledger: Ledger) -> None:
    one_night(ledger, 1)
    staging = ledger.staging(night(2))
    partial = a_seen_manifest(staging, night(2), complete=False)
    untrusted = a_seen_manifest(staging, night(3), trusted=False)
    recorded(ledger, 2, manifests=(partial, untrusted))
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert [at for at, _ in known.originals] == [night(1) + timedelta(minutes=1)]


def test_a_file_removed_by_hand_is_unknown_and_not_an_error(ledger: Ledger, state: Path) -> None:
    one_night(ledger, 1)
    for file in [*(state / "manifests").iterdir(), *(state / "relations").iterdir()]:
        file.unlink()
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert (known.originals, known.copy_manifest, known.relation) == ((), None, None)


def test_an_original_seen_earlier_can_stand_for_tonights(ledger: Ledger, state: Path) -> None:
    first = one_night(ledger, 1)
    kept = next(file for file in (state / "manifests").iterdir() if "Z-0000-" in file.name)
    assert first.original_file != kept
    staging = ledger.staging(night(2))
    held = a_seen_manifest(staging, night(2), COPY)
    compared = a_compared(kept, held.manifest.file, a_staged_file(staging), night(2))
    recorded(ledger, 2, manifests=(held,), comparisons=(compared,))
    known = ledger.earlier(RECORDINGS, COPY)
    assert known is not None
    assert [file for _, file in known.originals] == [kept]
    assert known.at == night(2)


def test_a_comparison_on_files_that_are_not_recorded_records_nothing(ledger: Ledger, tmp_path: Path) -> None:
    staging = ledger.staging(night(1))
    seen = a_seen_manifest(staging, night(1))
    foreign = tmp_path / "elsewhere.parquet"
    foreign.write_bytes(b"rows")
    for original, relation in ((foreign, None), (seen.manifest.file, foreign), (seen.manifest.file, staging / "none")):
        compared = a_compared(original, None, relation, night(1))
        with pytest.raises(LedgerError):
            recorded(ledger, 1, manifests=(seen,), comparisons=(compared,))
        seen = a_seen_manifest(staging, night(1))
    with ledger._reading() as connection:
        assert connection.execute(select(AUDITS)).all() == []
        assert connection.execute(select(MANIFESTS)).all() == []


def a_real_manifest(ledger: Ledger, number: int, address: Address, *, trusted: bool = True) -> SeenManifest:
    folder = ledger.staging(night(number))
    manifest = a_manifest(folder, [a_row(b"a")], seed=SEED, started=night(number), address=address)
    return SeenManifest(address=address, manifest=manifest, trusted=trusted)


def test_the_newest_manifest_of_a_trusted_volume_is_given_out(ledger: Ledger, state: Path) -> None:
    assert ledger.last_manifest(COPY) is None
    recorded(ledger, 1, manifests=(a_real_manifest(ledger, 1, COPY),))
    recorded(ledger, 2, manifests=(a_real_manifest(ledger, 2, COPY),))
    recorded(ledger, 3, manifests=(a_real_manifest(ledger, 3, COPY, trusted=False),))
    found = ledger.last_manifest(COPY)
    assert found is not None
    assert found.origin.started == night(2)
    found.file.write_bytes(b"cut")
    older = ledger.last_manifest(COPY)
    assert older is not None
    assert older.origin.started == night(1)
    for file in (state / "manifests").iterdir():
        file.unlink()
    assert ledger.last_manifest(COPY) is None


def test_a_night_with_a_clock_years_ahead_is_not_the_newest_for_years(ledger: Ledger) -> None:
    recorded(ledger, 1000, manifests=(a_real_manifest(ledger, 1000, COPY),))
    for number in range(1, 6):
        recorded(ledger, number, manifests=(a_real_manifest(ledger, number, COPY),))
        ledger.prune(night(number))
        found = ledger.last_manifest(COPY)
        assert found is not None
        assert found.origin.started == night(number)


def test_a_manifest_of_one_point_is_found_by_the_point_and_by_the_copy(ledger: Ledger) -> None:
    address = Address(volume=HERON, path=".points/{point}/recordings")
    point = address.at_point("2026-11-01")
    seen = a_real_manifest(ledger, 1, point)
    recorded(ledger, 1, manifests=(replace(seen, address=address),))
    for asked in (address, point):
        found = ledger.last_manifest(asked)
        assert found is not None
        assert found.origin.address == point
    assert ledger.last_manifest(address.at_point("2026-11-02")) is None


def test_another_volume_of_the_same_device_is_another_place(ledger: Ledger) -> None:
    recorded(ledger, 1, manifests=(a_real_manifest(ledger, 1, COPY),))
    other = VolumeKey(device=HERON.device, volume=VolumeId("scratch"))
    assert ledger.last_manifest(Address(volume=other, path=COPY.path)) is None
    assert ledger.last_manifest(ORIGINAL) is None


def test_what_a_killed_audit_left_is_swept_and_what_is_recorded_stays(
    ledger: Ledger, reopen: Callable[[], Ledger], state: Path
) -> None:
    one_night(ledger, 1)
    kept = {file.name for place in ("manifests", "relations") for file in (state / place).iterdir()}
    (state / "manifests" / "rubbish.parquet").write_bytes(b"half")
    (state / "relations" / "rubbish.parquet").write_bytes(b"half")
    (ledger.staging(night(2)) / "half.parquet.part").write_bytes(b"half")
    with reopen():
        assert {file.name for place in ("manifests", "relations") for file in (state / place).iterdir()} == kept
        assert list((state / "staging").iterdir()) == []
