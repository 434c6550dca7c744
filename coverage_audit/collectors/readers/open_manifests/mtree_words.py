"""What single words of an mtree(5) specification mean: names and targets in vis(3), times, sizes, digests."""

from __future__ import annotations

import re
from typing import Final

from coverage_audit.collectors.readers.open_manifests.digests import DIGITS, hex_digest
from coverage_audit.collectors.readers.open_manifests.listed_tree import LONGEST_NUMBER
from coverage_audit.evidence.instants import SECOND_NS
from coverage_audit.evidence.manifest import Kind

KINDS: Final = {
    b"file": Kind.FILE,
    b"dir": Kind.FOLDER,
    b"link": Kind.LINK,
    **dict.fromkeys((b"block", b"char", b"fifo", b"socket", b"door"), Kind.OTHER),
}
ALGORITHMS: Final = {name.encode() + end: name for name in DIGITS for end in (b"", b"digest")}
BARE: Final = frozenset({b"optional", b"ignore", b"nochange"})
KNOWN: Final = frozenset({b"type", b"size", b"time", b"link", b"nlink", *ALGORITHMS, *BARE})

# vis(3) in its C style, with octal numbers; \^ and \M introduce control and 8-bit characters.
_ESCAPE: Final = re.compile(
    rb"\\(?:([0-3][0-7]{2})|M-([!-~])|M\^([?-_])|\^([?-_])|(0(?![0-7])|[\\abefnrstvE#*?\[\]=\"']))?"
)
_LETTERS: Final = dict(zip(b"abfnrstvE0", b"\a\b\f\n\r \t\v\x1b\0", strict=True))
_TIME: Final = re.compile(rb"(-?[0-9]{1,19})(?:\.([0-9]{1,9}))?")


def unescaped(word: bytes) -> bytes | None:
    """Return a name or a target out of its escapes, None where one of them means nothing."""
    bad = False

    def meaning(found: re.Match[bytes]) -> bytes:
        nonlocal bad
        octal, high, high_control, control, letter = found.groups()
        if octal:
            return bytes([int(octal, 8)])
        if high:
            return bytes([high[0] | 0x80])
        if high_control or control:
            return bytes([_control((high_control or control)[0]) | (0x80 if high_control else 0)])
        if letter:
            return bytes([_LETTERS.get(letter[0], letter[0])])
        bad = True
        return b""

    plain = _ESCAPE.sub(meaning, word)
    return None if bad else plain


def slashes(word: bytes) -> int:
    """Count the slashes of a name that are no part of an escape."""
    return _ESCAPE.sub(b"", word).count(b"/")


def _control(letter: int) -> int:
    return 0x7F if letter == ord("?") else letter & 0x1F


def nanoseconds(word: bytes) -> int | None:
    """Return a time in ns since 1970, None where it is none.

    What stands behind the point is a number of nanoseconds, not a decimal fraction: NetBSD's mtree writes 5.1 for
    5.000000001 s, and libarchive reads it so. It counts upwards from the whole second, also before 1970.
    """
    found = _TIME.fullmatch(word)
    if not found:
        return None
    return max(-LONGEST_NUMBER, min(LONGEST_NUMBER, int(found[1]) * SECOND_NS + int(found[2] or b"0")))


def number(word: bytes) -> int | None:
    """Return a whole number from 0 to 2**63 - 1, None where it is none."""
    return int(word) if word.isdigit() and len(word) <= 19 and int(word) <= LONGEST_NUMBER else None


def digest(word: bytes, algorithm: str) -> bytes | None:
    """Return a digest, None where it is no whole one of this algorithm."""
    return hex_digest(word) if len(word) == DIGITS[algorithm] else None
