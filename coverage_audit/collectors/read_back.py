"""Having files read back, in a worker of its own: what it said before it ended is kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from coverage_audit.collectors.crew import TICK, Crew
from coverage_audit.collectors.errands import Back, ReadBack
from coverage_audit.collectors.gather import time_of
from coverage_audit.collectors.scratch import clear
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.drilling import FilesBack
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.progress import Progress, silent


def read_back(  # noqa: PLR0913 - what is read and where to, and collaborators handed over once
    device: Device,
    root: str,
    wanted: Sequence[Wanted],
    *,
    algorithms: Sequence[str],
    scratch: Path,
    limits: Limits,
    clock: Callable[[], datetime],
    progress: Progress = silent,
    withheld: frozenset[str] = frozenset(),
) -> FilesBack | Gap:
    """Read files below `root` onto the disk of the folder `scratch`, one after the other, within the device's time.

    Nothing of them is left there, whatever ends it. A gap where nothing at all came of it; else `stopped` says what
    ended it early.
    """
    clear(scratch)
    files = tuple({one.path: one for one in wanted}.values())
    if not files:
        return FilesBack(back=())
    allowed = time_of(device, limits).total_seconds()
    deadline = time.monotonic() + allowed
    errand = ReadBack(
        device=device,
        root=root,
        wanted=files,
        algorithms=tuple(algorithms),
        scratch=scratch,
        limits=limits,
        deadline=deadline,
    )
    [(_, words, ended)] = Crew(1, progress, withheld).run(iter([(0, errand, deadline + TICK)]))
    stopped = ended.gap(device.id, clock())
    told = [word for word in words if isinstance(word, Back)]
    if not told and stopped is not None:
        return stopped
    seen = {word.file.path for word in told}
    last = told[-1] if told else None
    return FilesBack(
        back=tuple(word.file for word in told),
        left=tuple(one for one in files if one.path not in seen),
        read=last.read if last else 0,
        seconds=last.seconds if last else 0.0,
        way=last.way if last else "",
        stopped=stopped,
    )
