"""Paths as other programs write them, made paths of a manifest: relative, plain, below the root."""

from __future__ import annotations

from typing import Final

from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.visible import visible

LONGEST_PATH: Final = 4096  # bytes: PATH_MAX of Linux
_MAKE_ANEW: Final = "make the manifest anew, from inside of the tree"


def plain_path(name: bytes, *, line: int, within: bytes = b"") -> bytes:
    """Return the path without `.` parts and doubled slashes; `.` alone becomes the empty path, the root.

    Raises OpenManifestError where it is absolute, leads upwards, is too long or cannot be a name.
    """
    if name.startswith(b"/"):
        raise OpenManifestError(f"{_shown(name)} is an absolute path", _MAKE_ANEW, line=line, within=within)
    parts = [part for part in name.split(b"/") if part not in {b"", b"."}]
    if b".." in parts:
        raise OpenManifestError(f"{_shown(name)} leads outside of the tree", _MAKE_ANEW, line=line, within=within)
    if b"\0" in name:
        raise OpenManifestError(f"{_shown(name)} holds a NUL, no name can", _MAKE_ANEW, line=line, within=within)
    if len(name) > LONGEST_PATH:
        raise OpenManifestError(
            f"a path of {len(name)} bytes is longer than the {LONGEST_PATH} that a path can have",
            "make the manifest anew",
            line=line,
            within=within,
        )
    return b"/".join(parts)


def file_path(name: bytes, *, line: int, within: bytes = b"") -> bytes:
    """Return the path of a regular file. Raises OpenManifestError as plain_path does, and where a folder is named."""
    path = plain_path(name, line=line, within=within)
    if not path or name.endswith((b"/", b"/.")):
        raise OpenManifestError(
            f"{_shown(name)} is a folder, listed as a file", "list only its files", line=line, within=within
        )
    return path


def _shown(name: bytes) -> str:
    return repr(visible(name[:200]))[1:-1] if name else "the empty name"
