"""The lines of an mtree(5) specification: continued ones joined, comments left out, `/set` and `/unset` applied."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from coverage_audit.collectors.readers.open_manifests.lines import refuse_nul, refuse_odd_start, whole_lines
from coverage_audit.collectors.readers.open_manifests.mtree_words import BARE, KNOWN
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.visible import visible


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One entry: its name as it is written, and the keywords that hold for it (with those of `/set`), raw."""

    line: int
    name: bytes
    words: tuple[tuple[bytes, bytes], ...]

    def get(self, *keys: bytes) -> bytes | None:
        """Return the value of the first of these keywords that is there."""
        return next((value for key, value in self.words if key in keys), None)


def entries(text: bytes) -> Iterator[Entry]:
    """Yield the entries. Raises OpenManifestError for a text that is no specification.

    Keywords that say nothing of path, kind, size, time, links or content are passed over, as mtree(5) wants of readers.
    """
    defaults: dict[bytes, bytes] = {}
    for line, joined in _joined(text):
        name, *words = joined.split()
        if name == b"/set":
            defaults |= dict(_pairs(words, line))
        elif name == b"/unset":
            for word in words:
                defaults.pop(word, None)
            defaults = {} if b"all" in words else defaults
        elif name.startswith(b"/"):
            raise OpenManifestError(
                f"{visible(name[:200])} is neither /set nor /unset, and no path of a tree begins so",
                "make the specification anew",
                line=line,
            )
        else:
            yield Entry(line=line, name=name, words=tuple((defaults | dict(_pairs(words, line))).items()))


def _joined(text: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield whole lines with the number of their first. A blank and a backslash at an end join the next line on."""
    refuse_odd_start(text)
    refuse_nul(text)
    parts: list[bytes] = []
    first = 0
    for number, raw in enumerate(whole_lines(text), 1):
        line = raw.removesuffix(b"\r")
        first = first if parts else number
        if line.endswith((b" \\", b"\t\\")):
            parts.append(line[:-1])
            continue
        whole = b" ".join([*parts, line]).strip(b" \t")
        parts = []
        if whole and not whole.startswith(b"#"):
            _refuse_odd(whole, first)
            yield first, whole
    if parts:
        raise OpenManifestError("its last line goes on, but there is no more", "make it anew", line=first)


def _refuse_odd(line: bytes, number: int) -> None:
    place = line.find(b"#")
    while place > 0:
        if line[place - 1 : place] != b"\\" and not line.endswith((b"\\M-", b"\\M^", b"\\^"), 0, place):
            raise OpenManifestError(
                "a # stands in it without a backslash: some programs take what follows for a comment",
                "write \\# or \\043",
                line=number,
            )
        place = line.find(b"#", place + 1)
    if any(letter in line for letter in (b"\r", b"\v", b"\f")):
        raise OpenManifestError("it holds a control character", "write it escaped", line=number)


def _pairs(words: list[bytes], line: int) -> Iterator[tuple[bytes, bytes]]:
    for word in words:
        key, mark, value = word.partition(b"=")
        if not mark and key not in BARE:
            raise OpenManifestError(
                f"{visible(word[:200])} is no keyword with a value; a path must stand first in its line",
                "print it with mtree -C",
                line=line,
            )
        if key in KNOWN:
            yield key, value
