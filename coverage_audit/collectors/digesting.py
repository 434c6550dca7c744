"""The content of every file of a tree that was walked: digests into its manifest, the rest named."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from coverage_audit.collectors.errands import Walk
from coverage_audit.collectors.pace import OutOfTimeError, Pace
from coverage_audit.collectors.reading_content import ContentReader
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.collectors.ways import Ways
from coverage_audit.evidence.content import HashedFile, NotHashed, Wanted
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind, Manifest
from coverage_audit.evidence.store import with_digests

_NOT_IN_TIME: Final = "the files were not read within the time limit"


def digested(
    errand: Walk, manifest: Manifest, algorithm: str, transport: Transport, ways: Ways
) -> tuple[Manifest, tuple[Blind, ...]]:
    """Return the manifest with a digest of every file that could be read as it was listed, and the files of which not.

    The manifest without them is removed. Raises TransportError where the box cannot be asked or its time is over,
    EvidenceError where the new manifest cannot be written; nothing is left then.
    """
    reader = ContentReader(errand.question.device, transport, ways)
    pace = Pace(until=errand.deadline)
    without: list[Blind] = []

    def of(files: Sequence[tuple[bytes, int, int]]) -> list[bytes | None]:
        wanted = [Wanted(path=path, size=size, mtime_ns=mtime) for path, size, mtime in files]
        told: list[HashedFile | NotHashed] = []
        try:
            if wanted:
                reader.read(algorithm, manifest.origin.root, wanted, pace, told.append)
        except OutOfTimeError as error:
            raise TransportError(GapKind.TIME_LIMIT, _NOT_IN_TIME) from error
        if len(told) < len(wanted):
            raise TransportError(GapKind.TIME_LIMIT, _NOT_IN_TIME)
        without.extend(Blind(path=one.path, why=one.why) for one in told if isinstance(one, NotHashed))
        found = {one.path: one.digest for one in told if isinstance(one, HashedFile)}
        return [found.get(one.path) for one in wanted]

    file = errand.staging / f"{secrets.token_hex(16)}.parquet"
    origin = replace(manifest.origin, digest=algorithm)
    try:
        again = with_digests(manifest, file, errand.seed, errand.memory, origin=origin, digests_of=of)
    finally:
        manifest.file.unlink(missing_ok=True)
    return again, tuple(without)
