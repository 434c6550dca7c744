"""One request to the gate: a line of plain ASCII words, safe in every shell that an account may have.

`exec sh -s -- 1 NONCE VERB ARG...`: each argument is the lower-case hex of its bytes, `-` for none at all. Nothing of
it has a meaning to a shell, and the gate never runs any of it as shell text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from coverage_audit.errors import CollectionError

VERSION: Final = 1
LONGEST: Final = 100_000
"""The most bytes of a request's line; Linux takes 128 KiB as one argument (MAX_ARG_STRLEN, execve(2))."""

SLOWEST_READING: Final = 5_000_000
"""Bytes a second: a box that reads and digests content more slowly is given up on. USB 2.0, and a small processor's
SHA-256, manage several times as many (common practice, no published source)."""

_PLAIN_VERB: Final = re.compile(r"[a-z]+")
_NONCE: Final = re.compile(r"[0-9a-f]{16,64}")


@dataclass(frozen=True, kw_only=True)
class Request:
    """What is asked: a verb of the gate and its arguments; `nonce` is drawn anew for each request.

    `reads` is how many bytes of content the box reads at most before it says the next thing. Raises
    CollectionError for what the gate could not take.
    """

    verb: str
    arguments: tuple[bytes, ...] = ()
    nonce: str
    reads: int = 0

    def __post_init__(self) -> None:
        """Hold the shape that the gate demands."""
        if not _PLAIN_VERB.fullmatch(self.verb) or not _NONCE.fullmatch(self.nonce):
            raise CollectionError(f"no request: {self.verb!r} with the nonce {self.nonce!r}")
        if any(b"\0" in argument for argument in self.arguments):
            raise CollectionError("a request's argument cannot hold a NUL")

    @property
    def patience(self) -> float:
        """Seconds by which the box may be silent for longer than usual, because it is reading."""
        return self.reads / SLOWEST_READING

    @property
    def words(self) -> tuple[str, ...]:
        """The words that follow `sh -s --`."""
        return str(VERSION), self.nonce, self.verb, *map(hex_word, self.arguments)

    @property
    def line(self) -> bytes:
        """The whole command line. Raises CollectionError where it is longer than a box takes."""
        line = f"exec sh -s -- {' '.join(self.words)}".encode("ascii")
        if len(line) > LONGEST:
            raise CollectionError(f"a request of {len(line)} bytes is longer than a box takes")
        return line


def hex_word(argument: bytes) -> str:
    """Return the word that stands for an argument."""
    return argument.hex() or "-"


def cost(argument: bytes) -> int:
    """Return how many bytes an argument takes of a request's line, with the blank before it."""
    return 1 + len(hex_word(argument))


def batches(fixed: tuple[bytes, ...], many: tuple[bytes, ...]) -> tuple[tuple[bytes, ...], ...]:
    """Cut `many` arguments so that each batch makes one request together with the `fixed` ones, order kept."""
    start = room = LONGEST - 200 - sum(map(cost, fixed))
    cut: list[tuple[bytes, ...]] = []
    batch: list[bytes] = []
    for argument in many:
        if batch and cost(argument) > room:
            cut.append(tuple(batch))
            batch, room = [], start
        batch.append(argument)
        room -= cost(argument)
    return (*cut, tuple(batch)) if batch else tuple(cut)
