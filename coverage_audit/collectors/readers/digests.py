"""Digests of named files below a root, made on the box itself: their content never travels.

Each file's size and times are told before and after it was read: of one that changed meanwhile there is no digest.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from typing import Final

from coverage_audit.collectors.file_figures import NOTHING_TOLD, file_figures, why_not_read
from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.hashing import CHANGED_MEANWHILE
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.requests import batches as cut_to_fit
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.content import HashedFile, NotHashed, Wanted
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

LENGTHS: Final = {"md5": 16, "sha1": 20, "sha256": 32, "sha512": 64}
"""Bytes of a digest by its algorithm."""

_ONE_PATH: Final = re.compile(r"gate\.conf allows no root that holds \./|a path does not lie below its root")


def batches(algorithm: str, root: str, wanted: Sequence[Wanted]) -> tuple[tuple[Wanted, ...], ...]:
    """Cut the files so that each batch makes one request."""
    cut = cut_to_fit((algorithm.encode("ascii"), os.fsencode(root)), tuple(one.path for one in wanted))
    left = iter(wanted)
    return tuple(tuple(next(left) for _ in batch) for batch in cut)


def request(algorithm: str, root: str, wanted: Sequence[Wanted], nonce: str) -> Request:
    """Return the request for the digests of one batch of files below `root`."""
    arguments = (algorithm.encode("ascii"), os.fsencode(root), *(one.path for one in wanted))
    largest = max((one.size for one in wanted), default=0)
    return Request(verb="digests", arguments=arguments, nonce=nonce, reads=largest)


def parse(
    reply: bytes, exit_status: int | None, *, nonce: str, algorithm: str, root: str, wanted: Sequence[Wanted]
) -> tuple[HashedFile | NotHashed, ...]:
    """Read the answer of one batch, in its order. Raises TransportError where it is not an answer to each file."""
    values = fields(reply, exit_status, nonce)
    if values[:1] == (b"refused",):
        raise TransportError(GapKind.UNREADABLE, f"{root}: {visible(b' '.join(values[1:]).rpartition(b': ')[2])}")
    if values[:1] == (b"tool",):
        raise TransportError(GapKind.NO_TOOL, f"the box has no tool that makes {algorithm} digests")
    if values[:1] == (b"empty",):
        raise TransportError(GapKind.NOT_MOUNTED, f"{root}: it is empty now")
    if values[:1] != (b"digests",) or len(values) != 1 + 5 * len(wanted):
        raise TransportError(GapKind.MALFORMED, f"{root}: the answer with the digests has no shape")
    told: list[HashedFile | NotHashed] = []
    for at, one in enumerate(wanted):
        state, name, digest, before, after = values[1 + 5 * at : 6 + 5 * at]
        if name != b"./" + one.path:
            raise TransportError(GapKind.MALFORMED, f"{root}: a digest of another file than was asked for")
        told.append(_told(state, digest, (before, after), one, LENGTHS[algorithm]))
    return tuple(told)


def is_about_a_path(error: TransportError) -> bool:
    """Whether the gate refused a single path, not content altogether: that path leads out of its root by now."""
    return error.kind is GapKind.REFUSED and bool(_ONE_PATH.search(error.detail))


def _told(
    state: bytes, digest: bytes, figures: tuple[bytes, bytes], one: Wanted, length: int
) -> HashedFile | NotHashed:
    if state != b"ok":
        return NotHashed(path=one.path, why=why_not_read(state))
    before = file_figures(figures[0])
    if not re.fullmatch(rb"[0-9a-f]{%d}" % (2 * length), digest) or before is None:
        return NotHashed(path=one.path, why=NOTHING_TOLD)
    if figures[0] != figures[1] or not before.are_of(one):
        return NotHashed(path=one.path, why=CHANGED_MEANWHILE)
    return HashedFile(
        path=one.path,
        size=one.size,
        mtime_ns=one.mtime_ns,
        ctime_ns=before.ctime_ns,
        digest=bytes.fromhex(digest.decode("ascii")),
    )
