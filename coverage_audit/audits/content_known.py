"""What is known of the content of one copy while a night goes on: kept after each step, so that none is lost."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final, Protocol

from coverage_audit.audits.content_pair import ContentPair
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.reading_both import Read, Reader, Readings
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, Dataset, DatasetId
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.verified import Spoilt, Verification, Verified

MOST_NAMED: Final = 10_000
"""So many spoilt files of a place are remembered by name; of more only their number is."""

_SHOWN: Final = 20


class Verifications(Protocol):
    """What is known of the content of copies and originals from one audit to the next. Raises LedgerError."""

    def of(
        self, dataset: DatasetId, place: Address, lineage: Lineage, *, against: Address | None = None
    ) -> Verification:
        """Return what is known of a place (nothing: an empty value)."""

    def keep(self, dataset: DatasetId, place: Address, known: Verification, at: datetime, lineage: Lineage) -> None:
        """Keep what is known now in place of what was known before."""


@dataclass(kw_only=True)
class Known:
    """One place's content: what its `book` knows of it, and what this night adds. `spoilt` is by path."""

    dataset: Dataset
    address: Address
    lineage: Lineage
    parts: Parts
    book: Verifications
    verification: Verification
    spoilt: dict[bytes, Spoilt] = field(default_factory=dict)
    more: int = 0
    why_not: Gap | None = None

    def keep(self, now: Verification | None = None) -> None:
        """Keep what is known now (None: as it was) with what is spoilt. Raises LedgerError."""
        found = sorted(self.spoilt.values(), key=lambda one: one.path)
        self.verification = replace(now or self.verification, spoilt=tuple(found), more=self.more)
        self.book.keep(self.dataset.id, self.address, self.verification, self.parts.clock(), self.lineage)

    @property
    def spoilt_files(self) -> int:
        """How many files are known to be spoilt."""
        return len(self.spoilt) + self.more

    @property
    def shown(self) -> tuple[Spoilt, ...]:
        """The first of them, by name."""
        return self.verification.spoilt[:_SHOWN]

    def note(self, path: bytes, spoilt: Spoilt | None) -> None:
        """Note that a file was seen to be spoilt, or (None) to be as it should."""
        if spoilt is None:
            self.spoilt.pop(path, None)
        elif path in self.spoilt or len(self.spoilt) < MOST_NAMED:
            self.spoilt[path] = _since_first(self.spoilt.get(path), spoilt)
        else:
            self.more += 1


def known_of(dataset: Dataset, address: Address, lineage: Lineage, parts: Parts, book: Verifications) -> Known:
    """Take up what a book knows. Raises LedgerError."""
    against = None if address == dataset.original else dataset.original
    found = book.of(dataset.id, address, lineage, against=against)
    return Known(
        dataset=dataset,
        address=address,
        lineage=lineage,
        parts=parts,
        book=book,
        verification=found,
        spoilt={one.path: one for one in found.spoilt},
        more=found.more,
    )


@dataclass(kw_only=True)
class Reading:
    """One copy whose content is read, and what is known of it and of its original.

    `seconds` were spent on it in this night and are not counted yet where the rate is measured.
    """

    pair: ContentPair
    copy: Known
    original: Known
    started: datetime
    seconds: float = 0.0

    def take(self, readings: Readings) -> None:
        """Note what became of files that were read, on both sides, and keep it. Raises LedgerError."""
        for read in readings.reads:
            self._note(read)
        self.copy.why_not = readings.stopped or self.copy.why_not
        self.seconds += readings.seconds
        keep_all(self.copy, self.original)

    def reader(self, time: ContentTime, parts: Parts) -> Reader:
        """Return what reads files of it, and tells it what became of them."""
        return Reader(pair=self.pair, time=time, parts=parts, note=self.take, former=dict(self.original.spoilt))

    def _note(self, read: Read) -> None:
        path = read.file.path
        if read.settled:
            self.original.note(path, read.original)
            self.copy.note(path, read.copy)
        elif read.original is not None:
            self.original.note(path, read.original)


def verified(known: Known) -> Verified | None:
    """Return what is known of a copy as evidence (None: nothing was ever to be read)."""
    found = known.verification
    if found == Verification() and known.why_not is None:
        return None
    return Verified(
        last=found.last,
        running=found.running,
        whole=found.whole,
        spoilt=known.shown,
        spoilt_files=known.spoilt_files,
        why_not=known.why_not,
    )


def keep_all(*places: Known) -> None:
    """Keep what is known of several places. Raises LedgerError."""
    for known in places:
        known.keep()


def paths_of(*places: Known) -> tuple[bytes, ...]:
    """Return the paths of all spoilt files of these."""
    paths: Iterable[bytes] = (path for known in places for path in known.spoilt)
    return tuple(dict.fromkeys(paths))


def _since_first(before: Spoilt | None, now: Spoilt) -> Spoilt:
    """Keep since when it is known, as what harm, and who was seen to hold what it should be."""
    if before is None or before.wanted != now.wanted:
        return now
    held_by = tuple(dict.fromkeys((*before.held_by, *now.held_by)))
    return replace(now, at=before.at, harm=before.harm, held_by=held_by)
