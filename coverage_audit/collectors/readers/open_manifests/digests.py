"""Digests in hexadecimal digits, and the names of their algorithms."""

from __future__ import annotations

from typing import Final

DIGITS: Final = {"md5": 32, "sha1": 40, "sha224": 56, "sha256": 64, "sha384": 96, "sha512": 128}
"""Hexadecimal digits of a digest (RFC 1321, FIPS 180-4), the strongest algorithm last."""

OF_LENGTH: Final = {digits: algorithm for algorithm, digits in DIGITS.items()}
LONGEST: Final = max(OF_LENGTH)
_HEX: Final = frozenset(b"0123456789abcdefABCDEF")


def hex_digest(digits: bytes) -> bytes | None:
    """Return the digest, None where these are not hexadecimal digits (either case) of one of the lengths."""
    if len(digits) not in OF_LENGTH or not _HEX.issuperset(digits):
        return None
    return bytes.fromhex(digits.decode("ascii"))


def strongest(algorithms: set[str]) -> str:
    """Return the strongest of these algorithms (at least one)."""
    return max(algorithms, key=list(DIGITS).index)
