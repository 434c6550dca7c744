"""Whether a file is still the one that was listed, or read, by its figures."""

from __future__ import annotations

from coverage_audit.comparison.drawing import Listed
from coverage_audit.evidence.content import StoredDigest
from coverage_audit.evidence.instants import SECOND_NS


def stands(known: StoredDigest, listed: Listed) -> bool:
    """Whether nothing that is listed of a file now says that it is another than the one that was read.

    A ctime that is listed now and was not known then says nothing of what happened in between: it does not stand.
    """
    same = (known.size, known.mtime_ns) == (listed.size, listed.mtime_ns)
    is_blind = known.ctime_ns is None and listed.ctime_ns is not None
    return same and not is_blind and same_instant(known.ctime_ns, listed.ctime_ns)


def same_instant(first: int | None, second: int | None) -> bool:
    """Whether two ctimes may be one: to the second, where one of them is told by whole seconds."""
    if first is None or second is None:
        return True
    step = 1 if first % SECOND_NS and second % SECOND_NS else SECOND_NS
    return first // step == second // step


def moved_on(listed: Listed, now: tuple[int | None, int | None], step: int) -> bool:
    """Whether size and mtime seen now (None: it is gone) are others than those listed, to `step` ns."""
    size, mtime_ns = now
    return size != listed.size or mtime_ns is None or mtime_ns // step != listed.mtime_ns // step
