"""Questions and answers over SFTP: many under way at a time, each answer given to whoever asked."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers.sftp_tree.packets import Answer, Kind, hello, question, understood
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

_UNDER_WAY: Final = 64  # questions at a time; a server that answers in order buffers no more than these
_LAST: Final = 2**32

Then = Callable[[Answer], None]
"""What is done with an answer; it may ask more."""


class Session:
    """One conversation, in one thread. Raises TransportError (of the transport's kinds, or MALFORMED) anywhere."""

    def __init__(self, packets: Packets) -> None:
        self._packets = packets
        self._number = 0
        self._then: dict[int, Then] = {}
        self._waiting: deque[tuple[Kind, tuple[bytes, ...], bytes, Then]] = deque()
        packets.send(hello())
        self.extensions = understood(packets.receive())

    def ask(self, then: Then, kind: Kind, *texts: bytes, more: bytes = b"") -> None:
        """Ask; the answer goes to `then` while `run` runs. `more` is what a question of its kind has after texts."""
        self._waiting.append((kind, texts, more, then))
        self._send()

    def run(self) -> None:
        """Hand out answers until every question has one."""
        while self._then:
            answer = Answer(self._packets.receive())
            then = self._then.pop(answer.number, None)
            if then is None:
                raise TransportError(GapKind.MALFORMED, "the box answers what it was not asked")
            then(answer)
            self._send()

    def answer_to(self, kind: Kind, *texts: bytes) -> Answer:
        """Ask one question and wait for its answer."""
        answers: list[Answer] = []
        self.ask(answers.append, kind, *texts)
        self.run()
        return answers[0]

    def _send(self) -> None:
        while self._waiting and len(self._then) < _UNDER_WAY:
            kind, texts, more, then = self._waiting.popleft()
            self._number = (self._number + 1) % _LAST
            self._then[self._number] = then
            self._packets.send(question(kind, self._number, *texts, more=more))
