"""The worker's own side: `python -m coverage_audit.collectors.worker FD`, started by the auditor alone.

One errand comes through standard input, words go out through the pipe FD. A worker may hang or die; the auditor
outlives it and turns what was not said into gaps.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from functools import partial

from coverage_audit.collectors.connecting import connect
from coverage_audit.collectors.errands import (
    AskDigests,
    Counted,
    Ended,
    Errand,
    HashFiles,
    Inbox,
    LookAgain,
    ReadBack,
    Walk,
    Word,
    send,
)
from coverage_audit.collectors.reporting_progress import Sparing
from coverage_audit.collectors.sessions import end_with_parent
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Device
from coverage_audit.evidence.facts import GapKind


def main() -> None:
    """Take the errand, run it, say what came of it."""
    pipe = int(sys.argv[1])
    os.set_inheritable(pipe, False)  # noqa: FBT003 - the standard library's own order of arguments
    errand = _errand()
    end_with_parent()
    try:
        for word in run(errand, pipe):
            send(pipe, word)
        ended = Ended()
    except TransportError as error:
        ended = Ended(kind=error.kind, detail=error.detail)
    except Exception as error:  # noqa: BLE001 - the last door: whatever it was, it becomes gaps with a reason
        ended = Ended(kind=GapKind.MALFORMED, detail=f"the auditor itself failed: {type(error).__name__}: {error}")
    send(pipe, ended)


def run(errand: Errand, pipe: int) -> Iterator[Word]:
    """Connect and do the errand. Raises TransportError when the device cannot be reached at all.

    What an errand needs is imported with it: the libraries that store listings alone take a third of a second.
    """
    with connect(_device(errand), errand.limits) as transport:
        match errand:
            case Walk():
                from coverage_audit.collectors.asking import ask  # noqa: PLC0415

                progress = Sparing(lambda subject, entries: send(pipe, Counted(subject=subject, entries=entries)))
                yield from ask(errand, transport, progress)
            case LookAgain():
                from coverage_audit.collectors.looking import look  # noqa: PLC0415

                yield look(errand, transport)
            case HashFiles():
                from coverage_audit.collectors.hashing_wanted import hash_wanted  # noqa: PLC0415

                hash_wanted(errand, transport, partial(send, pipe))
            case AskDigests():
                from coverage_audit.collectors.hashing_wanted import digests_of  # noqa: PLC0415

                yield digests_of(errand, transport)
            case ReadBack():
                from coverage_audit.collectors.reading_back import read_wanted  # noqa: PLC0415

                read_wanted(errand, transport, partial(send, pipe))


def _device(errand: Errand) -> Device:
    return errand.question.device if isinstance(errand, Walk) else errand.device


def _errand() -> Errand:
    inbox = Inbox()
    while piece := os.read(0, 1 << 16):
        for value in inbox.take(piece):
            if isinstance(value, Errand):
                return value
    sys.exit("no errand came")


if __name__ == "__main__":
    main()
