"""Checksum files as coreutils write them: plain, escaped, `--tag` (BSD's way), and `-z` (each ended by a NUL).

They list files alone: a digest and a name. Where neither a tag nor the caller says the algorithm, the number of digits
does. A text ends with a newline, what `-z` wrote with a NUL; so no NUL in a text passes for the other form. Carriage
returns at the end of a line are refused: before coreutils escaped them (9.0), they could be part of a name.
"""

from __future__ import annotations

import re
from typing import Final, NoReturn

from coverage_audit.collectors.readers.open_manifests.digests import DIGITS, LONGEST, OF_LENGTH, hex_digest
from coverage_audit.collectors.readers.open_manifests.lines import refuse_nul, refuse_odd_start, whole_lines
from coverage_audit.collectors.readers.open_manifests.listed_tree import Gathering, ListedTree
from coverage_audit.collectors.readers.open_manifests.paths import file_path
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.manifest import Kind
from coverage_audit.evidence.visible import visible

LACKS: Final = frozenset({"mtime", "size", "ctime", "links", "blocks", "targets", "kinds"})

_ESCAPE: Final = re.compile(rb"\\(.?)", re.DOTALL)
_MEANING: Final = {b"\\": b"\\", b"n": b"\n", b"r": b"\r"}
_TAGS: Final = {algorithm.upper().encode(): algorithm for algorithm in DIGITS}
_ANEW: Final = "make the file anew with sha256sum"


def parse_checksums(text: bytes, *, algorithm: str | None = None) -> ListedTree:
    """Read a checksum file. `algorithm` ("sha256", …) is what it must be; None: as its tags or its digits say.

    Raises OpenManifestError.
    """
    if algorithm is not None and algorithm not in DIGITS:
        raise OpenManifestError(
            f"the algorithm {visible(algorithm)} is not known here", f"say one of {', '.join(DIGITS)}"
        )
    refuse_odd_start(text)
    zero = text.endswith(b"\0")
    if not zero:
        refuse_nul(text)
    rows = Gathering(len(text))
    found = algorithm
    for number, line in enumerate(whole_lines(text, end=b"\0" if zero else b"\n"), 1):
        if line.startswith(b"#") and not zero:
            continue  # a comment, to coreutils too
        said, digits, name = _fields(line, number, escapes=not zero)
        digest = hex_digest(digits)
        if digest is None or (said and len(digits) != DIGITS[said]):
            raise OpenManifestError(f"{_start(digits)} is no whole digest of a kind that is known", _ANEW, line=number)
        found = found or said or OF_LENGTH[len(digits)]
        if said not in {None, found} or len(digits) != DIGITS[found]:
            raise OpenManifestError(
                f"{visible(name[:200])} has a digest of {said or OF_LENGTH[len(digits)]} where {found} is due",
                "keep to one algorithm a file",
                line=number,
            )
        rows.add(Kind.FILE, file_path(name, line=number), number, digest)
    return ListedTree(columns=rows.columns(), lacks=LACKS, digest=found, how="checksum file")


def _fields(line: bytes, number: int, *, escapes: bool) -> tuple[str | None, bytes, bytes]:
    """Return the algorithm of the tag (None without one), the digits and the name."""
    escaped = escapes and line.startswith(b"\\")
    if escapes and line.endswith(b"\r"):
        raise OpenManifestError(
            "it ends with a carriage return, which may be part of a name",
            "rewrite it with plain newlines (sed 's/\\r$//')",
            line=number,
        )
    line = line[1:] if escaped else line
    said, digits, name = _tagged(line, number) or _plain(line, number)
    return said, digits, _unescaped(name, number) if escaped else name


def _tagged(line: bytes, number: int) -> tuple[str | None, bytes, bytes] | None:
    tag, mark, rest = line.partition(b" (")
    if not mark or b" " in tag or b")" not in rest or hex_digest(tag):
        return None
    name, mark, digits = rest.rpartition(b") = ")
    if not mark:
        _no_shape(line, number)
    if tag not in _TAGS:
        raise OpenManifestError(f"the algorithm {_start(tag)} is not known here", _ANEW, line=number)
    return _TAGS[tag], digits, name


def _plain(line: bytes, number: int) -> tuple[None, bytes, bytes]:
    digits, blank, name = line.partition(b" ")
    if not blank or name[:1] not in {b" ", b"*"} or len(digits) > LONGEST:
        _no_shape(line, number)
    if name == b" -":
        raise OpenManifestError("it is the digest of standard input, of no file", "list files by name", line=number)
    return None, digits, name[1:]


def _unescaped(name: bytes, number: int) -> bytes:
    def meaning(found: re.Match[bytes]) -> bytes:
        if found[1] not in _MEANING:
            raise OpenManifestError(f"{visible(found[0])} is no escape of coreutils", _ANEW, line=number)
        return _MEANING[found[1]]

    return _ESCAPE.sub(meaning, name)


def _no_shape(line: bytes, number: int) -> NoReturn:
    raise OpenManifestError(f"{_start(line)} has not the shape of a line of sha256sum", _ANEW, line=number)


def _start(text: bytes) -> str:
    return f'"{visible(text[:80])}"'
