"""A text as lines, whole to its end: a last line without an end is a file that was cut."""

from __future__ import annotations

from typing import Final

from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError

_MARKS: Final = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")


def refuse_odd_start(text: bytes, within: bytes = b"") -> None:
    """Raise OpenManifestError for an empty file and for one that starts with a byte order mark."""
    if not text:
        raise OpenManifestError("it is empty", "make the manifest anew", within=within)
    if text.startswith(_MARKS):
        raise OpenManifestError(
            "it starts with a byte order mark", "save it as plain UTF-8 without a mark (BOM)", line=1, within=within
        )


def refuse_nul(text: bytes, within: bytes = b"") -> None:
    """Raise OpenManifestError where a text holds a NUL."""
    place = text.find(b"\0")
    if place >= 0:
        raise OpenManifestError(
            "it holds a NUL: it is no text, or was damaged",
            "make the manifest anew",
            line=text.count(b"\n", 0, place) + 1,
            within=within,
        )


def whole_lines(text: bytes, within: bytes = b"", *, end: bytes = b"\n") -> list[bytes]:
    """Return the lines without their ends. Raises OpenManifestError where the last one has no end."""
    lines = text.split(end)
    if lines.pop():
        raise OpenManifestError(
            "its last line has no end: the file was cut", "make it anew", line=len(lines) + 1, within=within
        )
    return lines
