"""Having the content of a device's files read, in a worker of its own: what it said before it ended is kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.collectors.crew import Crew
from coverage_audit.collectors.errands import AskDigests, CanDigest, Ended, Errand, Hashed, HashFiles, Word
from coverage_audit.errors import CollectionError
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device
from coverage_audit.evidence.content import HashedFile, HashedFiles, NotHashed, Wanted
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.progress import Progress, silent

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
    words, ended = _done(errand, budget.total_seconds(), limits, progress, withheld)
    gap = _gap(device, ended, clock())
    told = [word for word in words if isinstance(word, Hashed)]
    if gap is not None and not any(word.files or word.without for word in told):
        return gap
    return _put_together(algorithm, files, told, gap)


def usable_digests(
    device: Device, *, limits: Limits, clock: Callable[[], datetime], withheld: frozenset[str] = frozenset()
) -> tuple[str, ...] | Gap:
    """Return the algorithms of which digests can be had of a device's files, the best first; none: there is no way."""
    words, ended = _done(AskDigests(device=device, limits=limits), 0.0, limits, silent, withheld)
    found = next((word.algorithms for word in words if isinstance(word, CanDigest)), None)
    if found is not None:
        return found
    return _gap(device, ended, clock()) or Gap(
        subject=str(device.id), kind=GapKind.CUT, detail="no answer came", at=clock()
    )


def _done(
    errand: Errand, budget: float, limits: Limits, progress: Progress, withheld: frozenset[str]
) -> tuple[list[Word], Ended]:
    opening = limits.connect_time + limits.login_time + 2 * limits.read_time
    deadline = time.monotonic() + opening.total_seconds() + budget + _GRACE
    for _, words, ended in Crew(1, progress, withheld).run(iter([(0, errand, deadline)])):
        return words, ended
    raise CollectionError("no worker could be started")


def _gap(device: Device, ended: Ended, at: datetime) -> Gap | None:
    return None if ended.kind is None else Gap(subject=str(device.id), kind=ended.kind, detail=ended.detail, at=at)


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
        bytes=max((word.bytes for word in told), default=0),
        stopped=stopped,
    )
