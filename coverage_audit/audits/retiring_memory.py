"""What is remembered of the content of files on the volumes of a retirement, and what of it still counts.

A digest stands for a file whose size, mtime and ctime are as they were. Not where the file was found since to have
another content under these very figures: that file is read again.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.held_elsewhere import ALGORITHM, HeldElsewhere
from coverage_audit.errors import EvidenceError
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Address, Estate, VolumeKey
from coverage_audit.evidence.content import HashedFile


@dataclass(frozen=True, kw_only=True)
class SpoiltFile:
    """A file that has another content than when it was read before, under the same figures; `at` is its tree."""

    at: Address
    path: bytes


@dataclass(frozen=True, kw_only=True)
class Memory:
    """The ledger's memory of content, as a retirement uses it. Raises LedgerError where the state folder fails."""

    estate: Estate
    parts: Parts

    def recall(self, held: HeldElsewhere, side: str, number: int, volume: VolumeKey) -> tuple[int, list[str]]:
        """Give a tree the digests that still stand; return how many do, and notes on what is lost."""
        found, notes = 0, list[str]()
        for home in self.homes(volume):
            stored = self.parts.ledger.digests.of(home, ALGORITHM, self.estate.device(home.volume.device).formerly)
            if stored.damaged:
                notes.append(f"What was remembered of the content of {home} is lost: {stored.damaged}")
            spoilt = self._spoilt(home)
            if spoilt is None:
                continue
            try:
                found += held.remember(side, number, os.fsencode(home.path), stored, but=spoilt)
            except EvidenceError as error:
                notes.append(str(error))
        return found, notes

    def keep(self, address: Address, hashed: Sequence[HashedFile]) -> tuple[SpoiltFile, ...]:
        """Remember what was read below an address, each file with its own tree; return those found spoilt."""
        homes = self.homes(address.volume)
        by_home: dict[Address, list[HashedFile]] = defaultdict(list)
        for one in hashed:
            path = b"/".join(part for part in (os.fsencode(address.path), one.path) if part)
            home = next(home for home in homes if not home.path or path.startswith(os.fsencode(home.path) + b"/"))
            inner = path[len(os.fsencode(home.path)) + 1 :] if home.path else path
            by_home[home].append(replace(one, path=inner))
        now, spoilt = self.parts.clock(), list[SpoiltFile]()
        for home, files in by_home.items():
            formerly = self.estate.device(home.volume.device).formerly
            added = self.parts.ledger.digests.add(home, ALGORITHM, files, now, formerly)
            spoilt += [SpoiltFile(at=home, path=one.now.path) for one in added.decayed]
        return tuple(spoilt)

    def homes(self, volume: VolumeKey) -> tuple[Address, ...]:
        """Return the places on a volume under which content is remembered: the deepest first, itself last."""
        places = {
            address
            for address in self._declared()
            if address.volume == volume and address.path and not address.has_point
        }
        own = Address(volume=volume, path="")
        return (*sorted(places, key=lambda one: (-one.path.count("/"), one.path)), own)

    def _declared(self) -> Iterable[Address]:
        for dataset in self.estate.datasets:
            yield from dataset.places

    def _spoilt(self, home: Address) -> frozenset[bytes] | None:
        """Return the files of a tree whose remembered content does not count; None: none of it does."""
        found = self.parts.ledger.retirements.spoilt().get(str(home), frozenset[bytes]())
        for dataset in self.estate.datasets:
            if home in dataset.places:
                known = self.parts.ledger.verifications.of(dataset.id, home, lineage_of(self.estate))
                if known.more:
                    return None
                found |= {one.path for one in known.spoilt}
        return found
