"""The walker processes: started, fed without ever waiting for them, and ended with their last word or by force."""

from __future__ import annotations

import contextlib
import fcntl
import os
import selectors
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import coverage_audit
from coverage_audit.collectors.local_walk.messages import Inbox, Stretch, packed
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

_PIECE: Final = 1 << 20
_PATIENCE: Final = 2.0  # seconds for a killed process to go; one in a dead mount does not
_START: Final = (
    "import sys; sys.path.insert(0, sys.argv[1]); "
    "from coverage_audit.collectors.local_walk.process import main; main(int(sys.argv[2]))"
)


class Hand:
    """One walker process as the auditor sees it."""

    def __init__(self, root: int) -> None:
        package = str(Path(coverage_audit.__file__).parent.parent)
        self.process = subprocess.Popen(
            [sys.executable, "-I", "-S", "-c", _START, package, str(root)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            pass_fds=(root,),
            bufsize=0,
        )
        assert self.process.stdin is not None  # noqa: S101 - asked for two lines above
        assert self.process.stdout is not None  # noqa: S101 - likewise
        self.stdin, self.stdout = self.process.stdin, self.process.stdout
        os.set_blocking(self.stdin.fileno(), False)
        with contextlib.suppress(OSError):  # only an aid: fewer and larger pieces
            fcntl.fcntl(self.stdout, fcntl.F_SETPIPE_SZ, _PIECE)
        self.inbox = Inbox()
        self.outgoing = bytearray()
        self.asked = 0
        self.rows = 0
        self.said_goodbye = False

    def note(self, message: Any) -> None:
        """Count what it said."""
        if message[0] == "rows":
            self.rows += message[2]
        elif message[0] == "done":
            self.asked -= 1

    def part(self, rows: int) -> None:
        """Take its last word. Raises TransportError where it counts other rows than came."""
        if rows != self.rows or self.asked:
            raise TransportError(GapKind.MALFORMED, f"a walker counts {rows} rows and {self.rows} came")
        self.said_goodbye = True


class Pool:
    """Some walkers of one tree. Leaving the context ends them, whatever they do."""

    def __init__(self, root: int, borders: frozenset[bytes], walkers: int, deadline: float) -> None:
        self._deadline = deadline
        self._selector = selectors.DefaultSelector()
        self._hands = [Hand(root) for _ in range(walkers)]
        for hand in self._hands:
            self._selector.register(hand.stdout, selectors.EVENT_READ, hand)
            self._send(hand, list(borders))

    def __enter__(self) -> Self:
        """Return the pool itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the walkers; one that hangs in a dead mount is left behind."""
        self._selector.close()
        for hand in self._hands:
            hand.stdin.close()
            hand.stdout.close()
            if hand.process.poll() is None:
                hand.process.kill()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    hand.process.wait(_PATIENCE)

    def idle(self, at_most: int) -> Hand | None:
        """Return the walker with the fewest open requests, if it has fewer than `at_most`."""
        hand = min(self._hands, key=lambda one: one.asked)
        return hand if hand.asked < at_most else None

    def ask(self, hand: Hand, number: int, stretch: Stretch | None, enough: int) -> None:
        """Give a walker one more stretch (None: the whole tree), of which `enough` rows are enough."""
        hand.asked += 1
        self._send(hand, (number, stretch, enough))

    def hear(self) -> Iterator[Any]:
        """Wait for the walkers and yield what they say. Raises TransportError: TIME_LIMIT, or CUT where one died."""
        left = self._deadline - time.monotonic()
        events = self._selector.select(left) if left > 0 else []
        if not events:
            raise TransportError(GapKind.TIME_LIMIT, "the tree could not be walked within the time limit")
        for key, event in events:
            hand: Hand = key.data
            if event & selectors.EVENT_WRITE:
                self._write(hand)
            if event & selectors.EVENT_READ:
                yield from self._read(hand)

    def farewell(self) -> None:
        """Let the walkers end. Raises TransportError unless each counts what came from it and ends well."""
        for hand in self._hands:
            hand.stdin.close()
        while self._selector.get_map():
            for _message in self.hear():
                raise TransportError(GapKind.MALFORMED, "a walker speaks after its end")
        for hand in self._hands:
            with contextlib.suppress(subprocess.TimeoutExpired):
                hand.process.wait(_PATIENCE)
            if hand.process.returncode != 0:
                raise TransportError(GapKind.CUT, _death(hand))

    def _read(self, hand: Hand) -> Iterator[Any]:
        piece = os.read(hand.stdout.fileno(), _PIECE)
        if not piece:
            if not hand.said_goodbye:
                raise TransportError(GapKind.CUT, _death(hand))
            self._selector.unregister(hand.stdout)
        for message in hand.inbox.take(piece):
            if message[0] == "bye":
                hand.part(message[1])
            else:
                hand.note(message)
                yield message

    def _send(self, hand: Hand, message: Any) -> None:
        hand.outgoing += packed(message)
        if hand.stdin not in self._selector.get_map():
            self._selector.register(hand.stdin, selectors.EVENT_WRITE, hand)

    def _write(self, hand: Hand) -> None:
        try:
            del hand.outgoing[: os.write(hand.stdin.fileno(), hand.outgoing)]
        except BrokenPipeError as error:
            raise TransportError(GapKind.CUT, _death(hand)) from error
        if not hand.outgoing:
            self._selector.unregister(hand.stdin)


def _death(hand: Hand) -> str:
    with contextlib.suppress(subprocess.TimeoutExpired):
        hand.process.wait(_PATIENCE)
    return f"a walker process died (status {hand.process.returncode}) after {hand.rows} entries"
