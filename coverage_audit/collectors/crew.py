"""Errands run beside each other: a bounded number of workers at once, each ended when it is done or late."""

from __future__ import annotations

import selectors
from collections.abc import Iterator
from typing import Final

from coverage_audit.collectors.errand_process import ErrandProcess
from coverage_audit.collectors.errands import Counted, Ended, Errand, Word
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.progress import Progress

TICK: Final = 0.25
"""Seconds between two looks at the workers when none says anything."""


class Crew:
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
            selector.select(TICK)
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
