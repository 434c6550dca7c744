"""Files that are known to be spoilt, read once more each night: that they are mended must be seen."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Final

from coverage_audit.audits.content_known import Reading, keep_all, paths_of
from coverage_audit.audits.content_time import ContentTime
from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.drawing import Listed, again
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.evidence.verified import Spoilt

_AT_ONCE: Final = 500
"""Of more of them so many are read in one night, at random, so that each has its turn."""


def read_spoilt(reading: Reading, time: ContentTime, parts: Parts) -> None:
    """Read the spoilt files of a copy and of its original on both sides; forget those that are gone from the original.

    One that cannot be read now stays as it is known. Raises as `Sampling.run` does.
    """
    copy, original = reading.copy, reading.original
    paths: Sequence[bytes] = paths_of(copy, original)
    if not paths:
        return
    if len(paths) > _AT_ONCE:
        paths = secrets.SystemRandom().sample(paths, _AT_ONCE)
    found = again(reading.pair.compared, paths, parts.work)
    is_whole = isinstance(reading.pair.compared.original, CompleteManifest)
    for path in paths:
        listed, known = found.listed.get(path), original.spoilt.get(path)
        if listed is None and is_whole:
            copy.note(path, None)
            original.note(path, None)
        elif listed is not None and known is not None and _is_edited(known, listed):
            original.note(path, None)
    keep_all(copy, original)
    reading.reader(time, parts).read([found.held[path] for path in paths if path in found.held], reading.started)


def _is_edited(known: Spoilt, listed: Listed) -> bool:
    return (known.size, known.mtime_ns) != (listed.size, listed.mtime_ns)
