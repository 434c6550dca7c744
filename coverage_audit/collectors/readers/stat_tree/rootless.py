"""Why a listing has not even its root: there is no such folder, or no right to it."""

from __future__ import annotations

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible


def why_no_root(status: int, said: bytes, root: str) -> TransportError:
    """Return the error of a listing that holds no record at all."""
    if said.endswith(b": No such file or directory\n"):
        return TransportError(GapKind.MISSING, f"there is no {root}")
    if said.endswith(b": Not a directory\n"):
        return TransportError(GapKind.MISSING, f"{root} is no folder")
    if said.endswith(b": Permission denied\n"):
        return TransportError(GapKind.UNREADABLE, f"{root}: Permission denied")
    return TransportError(GapKind.MALFORMED, f"find listed nothing, status {status}: {visible(said[:200])}")
