"""Asking devices in parallel, one worker process each, within a time limit that nothing can stretch.

A device that is off, hangs, lies or makes its worker crash costs its own evidence only. What a worker said
before it was ended is kept; all that it was asked and did not say becomes a gap.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from coverage_audit.collectors.assembling import assemble
from coverage_audit.collectors.crew import TICK, Crew
from coverage_audit.collectors.errands import AuditorClock, Ended, LookAgain, Looked, Walk
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.access import ShelfAccess, SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device
from coverage_audit.evidence.collected import Answer, Question, SecondLook
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.progress import Progress, silent

_OWN_GRACE: Final = 0.1  # the part of a device's time that is left for its worker to say that it is late
_MOST_GRACE: Final = 5.0  # seconds
_LEAST_MEMORY: Final = 128 << 20  # bytes
_ON_SHELF: Final = "it is not attached: it is judged from the manifest recorded when it last was"


def gather(  # noqa: PLR0913 - each a collaborator, handed over once
    questions: Sequence[Question],
    *,
    limits: Limits,
    staging: Path,
    seed: bytes,
    clock: Callable[[], datetime],
    progress: Progress,
    withheld: frozenset[str] = frozenset(),
) -> tuple[Answer, ...]:
    """Ask every device and return the answers in the order of the questions; manifests lie in `staging`.

    `withheld` names variables of the environment that hold secrets: no worker, and nothing that it runs, is given them.

    Returns within the sum of the time limits of the devices that wait for each other, whatever they do.
    """
    at_once = max(1, min(limits.devices_at_once, len(questions)))
    memory = max(_LEAST_MEMORY, limits.memory // at_once)

    def errand(question: Question) -> tuple[Walk, float]:
        started = time.monotonic()
        allowed = time_of(question.device, limits).total_seconds()
        walk = Walk(
            question=question,
            limits=limits,
            staging=staging,
            seed=seed,
            clock=AuditorClock(read=clock(), monotonic=started),
            deadline=started + allowed - min(_MOST_GRACE, _OWN_GRACE * allowed),
            memory=memory,
        )
        return walk, started + allowed

    answers: dict[int, Answer] = {}
    attached = [number for number, question in enumerate(questions) if not _on_shelf(question)]
    crew = Crew(at_once, progress, withheld)
    for number, words, ended in crew.run((number, *errand(questions[number])) for number in attached):
        answers[number] = assemble(questions[number], words, lacking=ended, at=clock())
    for number, question in enumerate(questions):
        if _on_shelf(question):
            answers[number] = assemble(question, (), lacking=Ended(kind=GapKind.SHELF, detail=_ON_SHELF), at=clock())
    return tuple(answers[number] for number in range(len(questions)))


def look_again(
    device: Device, root: str, paths: Sequence[bytes], *, limits: Limits, withheld: frozenset[str] = frozenset()
) -> tuple[SecondLook, ...]:
    """Look once more at `paths` below `root` on a device, in a worker of its own.

    Raises TransportError (a CollectionError) when the box cannot be asked or does not answer in time.
    """
    allowed = min(time_of(device, limits), limits.read_time * 2).total_seconds()
    deadline = time.monotonic() + allowed
    errand = LookAgain(device=device, root=root, paths=tuple(paths), limits=limits, deadline=deadline)
    [(_, words, ended)] = Crew(1, silent, withheld).run(iter([(0, errand, deadline + TICK)]))
    for word in words:
        if isinstance(word, Looked):
            return word.looks
    raise TransportError(ended.kind or GapKind.CUT, ended.detail)


def time_of(device: Device, limits: Limits) -> timedelta:
    """Return the time limit of a device: its own, or that of all."""
    own = device.access.time_limit if isinstance(device.access, SshAccess) else None
    return own or limits.device_time


def _on_shelf(question: Question) -> bool:
    return isinstance(question.device.access, ShelfAccess)
