"""Digests of what the files of each tree hold, kept from one reading to the next, outside the database.

One file for each declared address and algorithm. It is replaced whole, so a crash leaves the old one or the new one.
One that is damaged counts as nothing remembered, and that is said. Every method raises LedgerError where the state
folder fails.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final

from coverage_audit.errors import EvidenceError, LedgerError
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, DeviceId, Estate, VolumeKey
from coverage_audit.evidence.content import DigestsAdded, HashedFile, StoredDigest
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.store import DigestsFile, StoredDigests, add_digests, reading_digests
from coverage_audit.ledger.folder import StateFolder, speaking_of
from coverage_audit.ledger.needed import PAIRS_KEPT

_END: Final = ".parquet"


class DigestBook:
    """The digests of one state folder. `formerly` are always former ids of the address's device."""

    def __init__(self, folder: StateFolder) -> None:
        self._folder = folder
        self._lost: list[Gap] = []

    @property
    def lost(self) -> tuple[Gap, ...]:
        """What was found to be damaged and begun anew since the ledger was opened: an audit says it."""
        return tuple(self._lost)

    def of(self, address: Address, algorithm: str, formerly: Sequence[DeviceId] = ()) -> StoredDigests:
        """Return what is remembered of a tree's files by one algorithm."""
        with speaking_of(self._folder.path):
            file = self._found(address, algorithm, formerly)
            if file is None:
                return StoredDigests(algorithm=algorithm)
            try:
                with reading_digests(file) as (_, said):
                    _require(said, algorithm)
            except EvidenceError as error:
                return StoredDigests(algorithm=algorithm, damaged=str(error))
            return StoredDigests(algorithm=algorithm, file=file)

    def lookup(
        self, address: Address, algorithm: str, paths: Iterable[bytes], formerly: Sequence[DeviceId] = ()
    ) -> Mapping[bytes, StoredDigest]:
        """Return what is remembered of these paths; nothing where that is damaged, which `of` and `add` say."""
        try:
            return self.of(address, algorithm, formerly).find(paths)
        except EvidenceError:
            return {}

    def add(
        self,
        address: Address,
        algorithm: str,
        hashed: Sequence[HashedFile],
        at: datetime,
        formerly: Sequence[DeviceId] = (),
    ) -> DigestsAdded:
        """Remember what was read at `at`, and return which of it has another content than before.

        What was remembered under a former id goes on under the present one. Where that is damaged it begins anew, and
        the answer says so. Only within `exclusive`.
        """
        if not hashed:
            return DigestsAdded()
        with speaking_of(self._folder.path):
            before = self._found(address, algorithm, formerly)
            file = self._file(address, algorithm)
            said = DigestsFile(address=address, algorithm=algorithm, added_at=at)
            try:
                return self._add(before, file, said, hashed)
            except EvidenceError as error:
                damage = None if before is None else _damage(before)
                if damage is None:
                    raise LedgerError(str(error)) from error
            added = replace(self._add(None, file, said, hashed), damaged=damage)
        detail = f"what was remembered of its files' content is lost, so earlier decay is not seen: {damage}"
        self._lost.append(Gap(subject=str(address), kind=GapKind.STORAGE, detail=detail, at=at))
        return added

    def prune(self, estate: Estate, now: datetime) -> None:
        """Let go of what belongs to no declared original or copy any more and was not added to for long.

        Only within `exclusive`.
        """
        declared = _declared(estate)
        with speaking_of(self._folder.path):
            for file in self._folder.digests.glob(f"*{_END}"):
                try:
                    with reading_digests(file) as (_, said):
                        is_over = said.address not in declared and said.added_at < now - PAIRS_KEPT
                except EvidenceError:
                    continue  # said when it is asked for, and replaced when it is added to
                if is_over:
                    file.unlink(missing_ok=True)

    def _add(self, before: Path | None, file: Path, said: DigestsFile, hashed: Sequence[HashedFile]) -> DigestsAdded:
        try:
            return add_digests(before, file, said, hashed)
        except EvidenceError as error:
            if before is None:
                raise LedgerError(str(error)) from error
            raise

    def _found(self, address: Address, algorithm: str, formerly: Sequence[DeviceId]) -> Path | None:
        names = (address.volume.device, *formerly)
        addresses = (replace(address, volume=VolumeKey(device=name, volume=address.volume.volume)) for name in names)
        files = (self._file(one, algorithm) for one in addresses)
        return next((file for file in files if file.is_file()), None)

    def _file(self, address: Address, algorithm: str) -> Path:
        name = hashlib.sha256(f"{algorithm} {address}".encode("utf-8", "surrogateescape")).hexdigest()
        return self._folder.digests / f"{name[:32]}{_END}"


def _declared(estate: Estate) -> frozenset[Address]:
    """Return the addresses of all originals and copies, under all ids that their devices have or had."""
    lineage = lineage_of(estate)
    places = {dataset.original for dataset in estate.datasets}
    places |= {copy.address for dataset in estate.datasets for copy in dataset.copies}
    return frozenset(replace(place, volume=volume) for place in places for volume in lineage.of_volume(place.volume))


def _require(said: DigestsFile, algorithm: str) -> None:
    if said.algorithm != algorithm:
        raise EvidenceError("it is of another algorithm")


def _damage(file: Path) -> str | None:
    """Return what is wrong with a file, read to its end (None: nothing)."""
    try:
        with reading_digests(file) as (parquet, _):
            for _batch in parquet.iter_batches(use_threads=False):
                pass
    except EvidenceError as error:
        return str(error)
    return None
