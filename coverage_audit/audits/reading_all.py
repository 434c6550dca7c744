"""All of a copy read, in a random order, over as many nights as it takes: each goes on where the last one ended."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil
from typing import Final

from coverage_audit.audits.content_known import Reading
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.reading_both import Fate, Read
from coverage_audit.audits.sampling import chunks
from coverage_audit.comparison.drawing import Drawn, draw
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Course, WholeReading

_DRAWN: Final = 50_000
_A_NIGHT: Final = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class ReadingAll:
    """What all of a copy is read with."""

    reading: Reading
    time: ContentTime
    parts: Parts

    def ask(self, seed: bytes) -> None:
        """Mark that all of it is to be read; where that is under way already, it goes on. Raises LedgerError."""
        known = self.reading.copy.verification
        if known.whole is None or known.whole.ended is not None:
            begun = WholeReading(
                asked=self.reading.started,
                ended=None,
                same=Tally(),
                differing=0,
                not_shown=0,
                changed=0,
                left=Tally(),
                seconds=0.0,
            )
            self.reading.copy.keep(replace(self.reading.copy.verification, whole=begun, course=Course(seed=seed)))

    def run(self) -> None:
        """Read on until the time is over or all of it is read. Raises as `Sampling.run` does."""
        under_way = True
        while under_way:
            under_way = self._go_on()

    def _go_on(self) -> bool:
        """Read what is drawn next; say whether there is more, and time for it."""
        known = self.reading.copy.verification
        whole, course = known.whole, known.course
        if whole is None or course is None or whole.ended is not None:
            return False
        found = draw(self.reading.pair.compared, course.seed, _DRAWN, self.parts.work, begin=course.rank)
        left = found.left
        for chunk in chunks(found.files):
            reads, is_all = self._read(chunk, whole.asked)
            left = _without(left, reads)
            whole = _counted(whole, reads, self.reading.seconds, left)
            self.reading.seconds = 0.0
            if reads:
                course = replace(course, rank=reads[-1].file.rank + 1)
            self.reading.copy.keep(replace(self.reading.copy.verification, whole=whole, course=course))
            if not is_all:
                return False
        if found.left.files > _DRAWN:
            return True
        self._end(whole)
        return False

    def _read(self, files: Sequence[Drawn], since: datetime) -> tuple[tuple[Read, ...], bool]:
        """Read files; return those up to the first that was not reached, and whether all were."""
        readings = self.reading.reader(self.time, self.parts).read(files, since)
        stop = next(
            (number for number, read in enumerate(readings.reads) if read.fate is Fate.UNREACHED), len(readings.reads)
        )
        return readings.reads[:stop], stop == len(readings.reads)

    def _end(self, whole: WholeReading) -> None:
        if not whole.differing:
            self.reading.copy.more = 0
        ended = replace(whole, ended=self.parts.clock(), left=Tally(), through=None)
        self.reading.copy.keep(replace(self.reading.copy.verification, whole=ended, course=None))


def with_end(whole: WholeReading, share: float, content_time: timedelta, now: datetime) -> WholeReading:
    """Say when a reading of all should be through: at the rate so far, with `share` of each coming night's time."""
    done = whole.same.bytes or whole.same.files
    to_do = whole.left.bytes if whole.same.bytes else whole.left.files
    if whole.ended is not None or not done or not whole.seconds or not share:
        return replace(whole, through=None)
    nights = ceil(to_do / done * whole.seconds / (content_time.total_seconds() * share))
    return replace(whole, through=now + nights * _A_NIGHT)


def _without(left: Tally, reads: tuple[Read, ...]) -> Tally:
    size = sum(read.file.original.size for read in reads)
    return Tally(files=left.files - len(reads), bytes=left.bytes - size)


def _counted(whole: WholeReading, reads: tuple[Read, ...], seconds: float, left: Tally) -> WholeReading:
    fates = Counter(read.fate for read in reads)
    size = sum(read.file.original.size for read in reads if read.fate is Fate.SAME)
    return replace(
        whole,
        same=whole.same + Tally(files=fates[Fate.SAME], bytes=size),
        differing=whole.differing + fates[Fate.DIFFERS],
        not_shown=whole.not_shown + fates[Fate.NOT_SHOWN] + fates[Fate.TOUCHED],
        changed=whole.changed + fates[Fate.CHANGED],
        left=left,
        seconds=whole.seconds + seconds,
    )
