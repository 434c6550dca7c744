"""Asking devices in parallel, one worker process each, within a time limit that nothing can stretch.

A device that is off, hangs, lies or makes its worker crash costs its own evidence only. What a worker said
before it was ended is kept; all that it was asked and did not say becomes a gap.
"""

from __future__ import annotations

import selectors
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from coverage_audit.collectors.assembling import assemble
from coverage_audit.collectors.errand_process import ErrandProcess
from coverage_audit.collectors.errands import AuditorClock, Counted, Ended, Errand, LookAgain, Looked, Walk, Word
from coverage_audit.collectors.transport import TransportError
from coverage_audit.errors import CollectionError
from coverage_audit.estate.access import ShelfAccess, SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device
from coverage_audit.evidence.collected import Answer, Question, SecondLook
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.progress import Progress, silent

_TICK: Final = 0.25  # seconds between two looks at the workers when none says anything
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
        allowed = _time_of(question.device, limits).total_seconds()
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
    crew = _Crew(at_once, progress, withheld)
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
    allowed = min(_time_of(device, limits), limits.read_time * 2).total_seconds()
    deadline = time.monotonic() + allowed
    errand = LookAgain(device=device, root=root, paths=tuple(paths), limits=limits, deadline=deadline)
    for _, words, ended in _Crew(1, silent, withheld).run(iter([(0, errand, deadline + _TICK)])):
        for word in words:
            if isinstance(word, Looked):
                return word.looks
        raise TransportError(ended.kind or GapKind.CUT, ended.detail)
    raise CollectionError("no worker could be started")


class _Crew:
    """Runs errands, a bounded number at once, each in a process that is ended when it is done or late."""

    def __init__(self, at_once: int, progress: Progress, withheld: frozenset[str]) -> None:
        self._at_once = at_once
        self._progress = progress
        self._withheld = withheld
        self._running: dict[int, ErrandProcess] = {}
        self._said: dict[int, list[Word]] = {}

    def run(self, errands: Iterator[tuple[int, Errand, float]]) -> Iterator[tuple[int, list[Word], Ended]]:
        """Give (number, words, how it ended) of each errand as it ends."""
        waiting = True
        try:
            while waiting or self._running:
                while waiting and len(self._running) < self._at_once:
                    following = next(errands, None)
                    waiting = following is not None
                    if following is not None:
                        yield from self._start(*following)
                yield from self._listen()
        finally:
            for process in self._running.values():
                process.end()

    def _start(self, number: int, errand: Errand, deadline: float) -> Iterator[tuple[int, list[Word], Ended]]:
        try:
            self._running[number] = ErrandProcess(errand, deadline, self._withheld)
            self._said[number] = []
        except OSError as error:
            detail = f"no worker process could be started on the auditor's machine: {error}"
            yield number, [], Ended(kind=GapKind.STORAGE, detail=detail)

    def _listen(self) -> Iterator[tuple[int, list[Word], Ended]]:
        with selectors.DefaultSelector() as selector:
            for process in self._running.values():
                selector.register(process.pipe, selectors.EVENT_READ)
            selector.select(_TICK)
        for number, process in list(self._running.items()):
            ended = self._hear(number, process)
            if ended is not None:
                del self._running[number]
                yield number, self._said.pop(number), ended

    def _hear(self, number: int, process: ErrandProcess) -> Ended | None:
        """Take what a worker said; return how it ended once it has, and end it then."""
        died = process.has_died()  # asked first: its last words are read after that
        words, closed = process.words()
        last: Ended | None = None
        for word in words:
            if isinstance(word, Counted):
                self._progress(word.subject, word.entries)
            elif isinstance(word, Ended):
                last = word
            else:
                self._said[number].append(word)
        if last is None and not (died or closed or process.is_late):
            return None
        how = process.end()
        if last is not None:
            return last
        if died or closed:
            return Ended(kind=GapKind.CUT, detail=f"the auditor's worker for this device {how} before it was done")
        return Ended(
            kind=GapKind.TIME_LIMIT, detail=f"the device did not answer within its time limit; its worker {how}"
        )


def _time_of(device: Device, limits: Limits) -> timedelta:
    own = device.access.time_limit if isinstance(device.access, SshAccess) else None
    return own or limits.device_time


def _on_shelf(question: Question) -> bool:
    return isinstance(question.device.access, ShelfAccess)
