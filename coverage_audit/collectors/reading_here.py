"""Reading the content of files on this machine, from a root that is still there."""

from __future__ import annotations

import os
from collections.abc import Sequence

from coverage_audit.collectors.hashing import Say, hash_here
from coverage_audit.collectors.pace import Pace
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible


def read_here(algorithm: str, root: str, wanted: Sequence[Wanted], pace: Pace, say: Say) -> None:
    """Say of each file below `root` its digest, or why there is none; see `hash_here`.

    Raises OutOfTimeError when the time is over, TransportError where the root is gone or empty.
    """
    hash_here(algorithm, still_there(root), wanted, pace, say)


def still_there(root: str) -> str:
    """Return the root. Raises TransportError where it is no folder that can be read, or is empty now."""
    try:
        with os.scandir(root) as entries:
            if next(entries, None) is not None:
                return root
    except OSError as error:
        kind = GapKind.MISSING if isinstance(error, FileNotFoundError) else GapKind.UNREADABLE
        raise TransportError(kind, f"{visible(os.fsencode(root))}: {error.strerror}") from error
    raise TransportError(GapKind.NOT_MOUNTED, f"{visible(os.fsencode(root))}: it is empty now")
