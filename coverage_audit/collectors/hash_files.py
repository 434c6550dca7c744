"""Having the content of a device's files read, in a worker of its own: what it said before it ended is kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.collectors.crew import Crew
from coverage_audit.collectors.errands import AskDigests, CanDigest, Ended, Errand, Hashed, HashFiles, Word
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device
from coverage_audit.evidence.content import HashedFile, HashedFiles, NotHashed, Wanted
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.progress import Progress, silent

_MANY: Final = 5_000  # files that are worth a worker
_FASTER_THAN_ONE: Final = 800_000_000  # bytes a second
_GRACE: Final = 5.0  # seconds after its time in which a worker may say what it still knows


def hash_files(  # noqa: PLR0913 - what is read, the bounds that hold for it, and collaborators handed over once
    device: Device,
    root: str,
    wanted: Sequence[Wanted],
    *,
    algorithm: str,
    budget: timedelta,
    rate: int,
    limits: Limits,
    clock: Callable[[], datetime],
    progress: Progress = silent,
    withheld: frozenset[str] = frozenset(),
) -> HashedFiles | Gap:
    """Read files below `root` in their order, for `budget` (from the moment the device is connected), at most `rate`.

    Of two of one path the first counts. A file that cannot be read within the rest of the time at this rate is passed
    over and left; a later one that fits is read. A gap where nothing at all came of it; else `stopped` says what
    ended it early. Returns within the budget and the limits of connecting, whatever the device does.
    """
    files = tuple({one.path: one for one in reversed(wanted)}.values())[::-1]
    if not files:
        return HashedFiles(algorithm=algorithm, hashed=())
    errand = HashFiles(
        device=device,
        root=root,
        files=tuple((one.path, one.size, one.mtime_ns) for one in files),
        algorithm=algorithm,
        budget=budget.total_seconds(),
        rate=rate,
        limits=limits,
    )
    told: list[Hashed] = []
    stopped: Gap | None = None
    for start, words, ended in _done(_parts(errand), budget.total_seconds(), limits, progress, withheld):
        told += [_numbered_from(start, word) for word in words if isinstance(word, Hashed)]
        stopped = stopped or ended.gap(device.id, clock())
    if stopped is not None and not any(word.files or word.without for word in told):
        return stopped
    return _put_together(algorithm, files, told, stopped)


def _parts(errand: HashFiles) -> list[tuple[int, HashFiles]]:
    """Return the errand, or two that share it, each with the number of its first file.

    Two are worth it for many files of this machine, and only where the rate allows more than one process reads.
    """
    half = len(errand.files) // 2
    if not isinstance(errand.device.access, LocalAccess) or half < _MANY or errand.rate < _FASTER_THAN_ONE:
        return [(0, errand)]
    shared = replace(errand, rate=errand.rate // 2)
    return [(0, replace(shared, files=errand.files[:half])), (half, replace(shared, files=errand.files[half:]))]


def _numbered_from(start: int, word: Hashed) -> Hashed:
    if not start:
        return word
    return replace(
        word,
        files=tuple((start + number, ctime, digest) for number, ctime, digest in word.files),
        without=tuple((start + number, why) for number, why in word.without),
    )


def usable_digests(
    device: Device, *, limits: Limits, clock: Callable[[], datetime], withheld: frozenset[str] = frozenset()
) -> tuple[str, ...] | Gap:
    """Return the algorithms of which digests can be had of a device's files, the best first; none: there is no way."""
    [(_, words, ended)] = _done([(0, AskDigests(device=device, limits=limits))], 0.0, limits, silent, withheld)
    found = next((word.algorithms for word in words if isinstance(word, CanDigest)), None)
    if found is not None:
        return found
    at = clock()
    return ended.gap(device.id, at) or Gap(subject=device.id, kind=GapKind.CUT, detail="no answer came", at=at)


def _done(
    errands: Sequence[tuple[int, Errand]],
    budget: float,
    limits: Limits,
    progress: Progress,
    withheld: frozenset[str],
) -> list[tuple[int, list[Word], Ended]]:
    """Have the errands done at once; each comes with its number."""
    opening = limits.connect_time + limits.login_time + 2 * limits.read_time
    deadline = time.monotonic() + opening.total_seconds() + budget + _GRACE
    crew = Crew(len(errands), progress, withheld)
    return list(crew.run((number, errand, deadline) for number, errand in errands))


def _put_together(algorithm: str, files: Sequence[Wanted], told: Sequence[Hashed], stopped: Gap | None) -> HashedFiles:
    hashed = {number: (ctime, digest) for word in told for number, ctime, digest in word.files}
    without = {number: why for word in told for number, why in word.without}
    return HashedFiles(
        algorithm=algorithm,
        hashed=tuple(
            HashedFile(
                path=files[number].path,
                size=files[number].size,
                mtime_ns=files[number].mtime_ns,
                ctime_ns=ctime,
                digest=digest,
            )
            for number, (ctime, digest) in sorted(hashed.items())
        ),
        not_hashed=tuple(NotHashed(path=files[number].path, why=why) for number, why in sorted(without.items())),
        left=tuple(one for number, one in enumerate(files) if number not in hashed and number not in without),
        seconds=max((word.seconds for word in told), default=0.0),
        bytes=sum(word.bytes for word in told),
        stopped=stopped,
    )
