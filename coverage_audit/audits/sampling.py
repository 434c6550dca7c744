"""A sample of what a copy holds, read on both sides: drawn, gone on with over the nights, and counted.

The sample are the first so many files of a random order, whatever was read of them. A file that was edited in the
original meanwhile leaves it, and the next in that order takes its place: edits have nothing to do with the order, so
it stays a simple random sample of what was not edited. One that was found to differ or could not be read stays counted
even when it is mended: mending only what a sample happened to meet would make the rest look better than it is.

A sample that was read to its end is upheld each night: drawn again in its order from what is listed now. So what came
or was written to since takes its part in it, and is read on the same night; what cannot be counts as differing until
it is. Whoever writes many files of a copy anew, their sizes and times put back, meets the sample by that.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from typing import Final

from coverage_audit.audits.content_known import Reading
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.reading_both import Fate, Read
from coverage_audit.audits.sampling_rounds import goes_on, is_due
from coverage_audit.comparison.drawing import FIRST, Draw, Drawn, draw
from coverage_audit.comparison.ranks import SEED_BYTES
from coverage_audit.estate.criteria import Verify
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Round, Sampled
from coverage_audit.judgement.content_shown import is_overdue
from coverage_audit.reckoning.sampling import sample_size

_BYTES_AT_ONCE: Final = 8 * 10**9
_FILES_AT_ONCE: Final = 20_000
_DRAWN_AT_ONCE: Final = 50_000
_LEAST_BESIDE: Final = 10
_BESIDE: Final = 10  # one further file for so many of the sample
_CHOICE: Final = 4  # of so many times as many, those that were never read before come first


def chunks(files: Iterable[Drawn]) -> Iterable[list[Drawn]]:
    """Cut files into lots that are read at once: what came of each is kept before the next."""
    lot: list[Drawn] = []
    size = 0
    for one in files:
        if lot and (len(lot) >= _FILES_AT_ONCE or size + one.original.size > _BYTES_AT_ONCE):
            yield lot
            lot, size = [], 0
        lot.append(one)
        size += one.original.size
    if lot:
        yield lot


@dataclass(frozen=True, kw_only=True)
class Sampling:
    """What a sample is read with. `seed` is this audit's, for samples of the dataset that begin in it."""

    reading: Reading
    terms: Verify
    time: ContentTime
    parts: Parts
    seed: bytes

    def run(self, *, now: bool) -> None:
        """Uphold the last sample; go on with the one under way, or begin one where one is due (or is wanted `now`).

        Raises LedgerError, and ComparisonError or EvidenceError where the listings cannot be read.
        """
        at = self.parts.clock()
        self.uphold(at)
        known = self.reading.copy.verification
        if not goes_on(known, self.terms, at):
            spoilt = self.reading.copy.spoilt_files
            if not now and not is_due(known, self.terms, at, spoilt=spoilt):
                return
            begun = Sampled(began=self.reading.started, ended=None, population=Tally(), asked=0, same=0)
            self.reading.copy.keep(replace(self.reading.copy.verification, running=begun, round=Round(seed=self.seed)))
        self._go_on()

    def uphold(self, at: datetime) -> None:
        """Hold the last sample against what is listed now, and read what came or was written to. Raises as `run`."""
        known = self.reading.copy.verification
        last, course = known.last, known.held
        if last is None or is_overdue(last, self.terms, at):
            return
        if course is None:
            self.reading.copy.keep(replace(self.reading.copy.verification, last=fallen(last)))
            return
        first = self._draw(course.seed, FIRST)
        size = self._size(first.population.files)
        in_order = self._in_order(course.seed, first)
        taken = same = unread = 0
        while taken < size and (lot := list(islice(in_order, min(size - taken, _FILES_AT_ONCE)))):
            settled = course.wanting
            taken += sum(one.path in settled for one in lot)
            for chunk in chunks([one for one in lot if one.path not in settled]):
                reads = [read for read in self._read(chunk, last.began) if read.fate is not Fate.CHANGED]
                found = frozenset(read.file.path for read in reads if read.fate is Fate.DIFFERS)
                course = replace(course, differing=course.differing | found)
                taken += len(reads)
                same += sum(read.fate is Fate.SAME for read in reads)
                unread += sum(not read.settled for read in reads)
        asked = min(size, first.population.files)
        last = replace(last, population=first.population, asked=asked, fallen=unread, by_time=self._is_by_time)
        self.reading.copy.keep(replace(self.reading.copy.verification, last=_counted(last, course, same), held=course))

    @property
    def _is_by_time(self) -> bool:
        sides = (self.reading.pair.compared.original, self.reading.pair.compared.copy)
        return any("ctime" in side.origin.lacks for side in sides)

    def _go_on(self) -> None:
        known = self.reading.copy.verification
        running, course = known.running, known.round
        if running is None or course is None:
            return
        first = self._draw(course.seed, FIRST)
        size = self._size(first.population.files)
        running = replace(running, population=first.population, asked=min(size, first.population.files))
        in_order = self._in_order(course.seed, first)
        beside = () if running.beside else self._beside(first.files[size:], size)
        taken = same = unreached = 0
        while taken < size and (lot := list(islice(in_order, min(size - taken, _FILES_AT_ONCE)))):
            settled = [one for one in lot if one.path in course.wanting]
            taken += len(settled)  # whatever is read of them now, they count as they do
            sample = {one.path for one in lot} - {one.path for one in settled}
            for chunk in chunks((*(one for one in lot if one.path in sample), *beside)):
                done = self._read(chunk, running.began)
                further = sum(read.settled for read in done if read.file.path not in sample)
                reads = [r for r in done if r.file.path in sample and r.fate is not Fate.CHANGED]
                course = _sticking(course, reads)
                taken += len(reads)
                same += sum(read.fate is Fate.SAME for read in reads)
                unreached += sum(read.fate in {Fate.UNREACHED, Fate.TOUCHED} for read in reads)
                running = _counted(replace(running, beside=running.beside + further), course, same)
                self.reading.copy.keep(replace(self.reading.copy.verification, running=running, round=course))
            beside = ()
        if not unreached:
            last = replace(running, ended=self.parts.clock(), by_time=self._is_by_time)
            self.reading.copy.keep(
                replace(self.reading.copy.verification, last=last, held=course, running=None, round=None)
            )

    def _draw(self, seed: bytes, begin: int) -> Draw:
        pair = self.reading.pair
        size = self._size(pair.compared.original.census.files)
        most = min(size + size // 10 + 16 + _CHOICE * _beside(size), _DRAWN_AT_ONCE)
        return draw(pair.compared, seed, most, self.parts.work, begin=begin)

    def _in_order(self, seed: bytes, first: Draw) -> Iterator[Drawn]:
        """Yield all files of the population in their random order, drawing more as they are needed."""
        found = first
        while found.files:
            yield from found.files
            found = self._draw(seed, found.files[-1].rank + 1)

    def _size(self, population: int) -> int:
        return sample_size(population, self.terms.tolerable, self.terms.confidence)

    def _read(self, files: Sequence[Drawn], since: datetime) -> tuple[Read, ...]:
        readings = self.reading.reader(self.time, self.parts).read(files, since)
        return readings.reads

    def _beside(self, rest: Sequence[Drawn], size: int) -> tuple[Drawn, ...]:
        """Choose further files to be read once: in the first place those of which there is no digest yet."""
        choice = rest[: _CHOICE * _beside(size)]
        pair = self.reading.pair
        known = self.parts.ledger.digests.lookup(
            pair.copy.address, pair.algorithm, [one.there for one in choice], pair.copy.device.formerly
        )
        return tuple(sorted(choice, key=lambda one: one.there in known)[: _beside(size)])


def fallen(last: Sampled) -> Sampled:
    """Return a sample of which none could be held against what is listed now."""
    return replace(last, same=0, fallen=last.fallen + last.same)


def a_seed() -> bytes:
    """Return the seed of the samples that begin in one audit: nobody can tell it beforehand."""
    return secrets.token_bytes(SEED_BYTES)


def _beside(size: int) -> int:
    return max(_LEAST_BESIDE, size // _BESIDE)


def _sticking(course: Round, reads: Sequence[Read]) -> Round:
    differing = course.differing | {read.file.path for read in reads if read.fate is Fate.DIFFERS}
    unshown = course.not_shown | {read.file.path for read in reads if read.fate is Fate.NOT_SHOWN}
    return replace(course, differing=differing, not_shown=unshown - differing)


def _counted(running: Sampled, course: Round, same: int) -> Sampled:
    return replace(running, same=same, differing=len(course.differing), not_shown=len(course.not_shown))
