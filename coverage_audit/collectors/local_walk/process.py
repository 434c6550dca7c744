"""A walker's own side: the root comes as an open descriptor, what to walk through standard input."""

from __future__ import annotations

import os

from coverage_audit.collectors.local_walk.messages import Inbox, packed
from coverage_audit.collectors.local_walk.telling import Walker


def main(root: int) -> None:
    """Walk what is asked for until nothing more is; the last message counts all rows."""
    inbox = Inbox()
    walker: Walker | None = None
    while piece := os.read(0, 1 << 20):
        for message in inbox.take(piece):
            if walker is None:
                walker = Walker(root, frozenset(message), _say)
            else:
                walker.walk(*message)
    _say(("bye", walker.rows if walker else 0))


def _say(message: object) -> None:
    view = memoryview(packed(message))
    while view:
        view = view[os.write(1, view) :]
