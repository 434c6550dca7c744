"""Why a listing has not even its root: there is no such folder, no right to it, or no GNU find."""

from __future__ import annotations

from typing import Final

from coverage_audit.collectors.readers.find_tree.script import shown_root
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

_NOT_FOUND: Final = 127  # what a shell returns for a command that it does not find
_NO_PRINTF: Final = (b"unrecognized", b"unknown", b"illegal", b"invalid", b"usage", b"Usage")


def why_no_root(status: int, said: bytes, root_path: str) -> TransportError:
    """Return the error of a listing that holds no record at all."""
    root = shown_root(root_path)
    if said.endswith(b": No such file or directory\n"):
        return TransportError(GapKind.MISSING, f"there is no {root}")
    if said.endswith(b": Not a directory\n"):
        return TransportError(GapKind.MISSING, f"{root} is no folder")
    if said.endswith(b": Permission denied\n"):
        return TransportError(GapKind.UNREADABLE, f"{root}: Permission denied")
    if status == _NOT_FOUND or any(word in said for word in _NO_PRINTF):
        return TransportError(GapKind.NO_TOOL, "the box has no GNU find (findutils is wanted)")
    return TransportError(GapKind.MALFORMED, f"find listed nothing, status {status}: {visible(said[:200])}")
