"""The content of every file of a tree that was walked: digests into its manifest, the rest named."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace

from coverage_audit.collectors.errands import Walk
from coverage_audit.collectors.hashing import hash_here
from coverage_audit.collectors.readers import digests
from coverage_audit.collectors.readers.digests import Told
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transport import Transport
from coverage_audit.estate.access import LocalAccess
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.manifest import Blind, Manifest
from coverage_audit.evidence.store import with_digests


def digested(
    errand: Walk, manifest: Manifest, algorithm: str, transport: Transport
) -> tuple[Manifest, tuple[Blind, ...]]:
    """Return the manifest with a digest of every file that could be read as it was listed, and the files of which not.

    The manifest without them is removed. Raises TransportError where the box cannot be asked, EvidenceError where the
    new manifest cannot be written; nothing is left then.
    """
    root = manifest.origin.root
    without: list[Blind] = []

    def of(files: Sequence[tuple[bytes, int, int]]) -> list[bytes | None]:
        wanted = [Wanted(path=path, size=size, mtime_ns=mtime) for path, size, mtime in files]
        found: list[bytes | None] = []
        for one, told in zip(wanted, _told(errand, root, algorithm, wanted, transport), strict=True):
            found.append(told if isinstance(told, bytes) else None)
            if isinstance(told, str):
                without.append(Blind(path=one.path, why=told))
        return found

    file = errand.staging / f"{secrets.token_hex(16)}.parquet"
    origin = replace(manifest.origin, digest=algorithm)
    try:
        again = with_digests(manifest, file, errand.seed, errand.memory, origin=origin, digests_of=of)
    finally:
        manifest.file.unlink(missing_ok=True)
    return again, tuple(without)


def _told(errand: Walk, root: str, algorithm: str, wanted: Sequence[Wanted], transport: Transport) -> tuple[Told, ...]:
    if isinstance(errand.question.device.access, LocalAccess):
        return hash_here(algorithm, root, wanted, deadline=errand.deadline)
    told: list[Told] = []
    for batch in digests.batches(algorithm, root, wanted):
        nonce = secrets.token_hex(16)
        asked = digests.request(algorithm, root, batch, nonce)
        reply = reply_to(transport, asked, deadline=errand.deadline)
        told += digests.parse(reply.text, reply.exit_status, nonce=nonce, algorithm=algorithm, root=root, wanted=batch)
    return tuple(told)
