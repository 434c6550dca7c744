"""The reasons that programs give on standard error, in the C locale, for what they could not look at."""

from __future__ import annotations

from typing import Final

from coverage_audit.collectors.walked import REPLACED

GONE: Final = b"No such file or directory"
BLINDING: Final = {
    b"Permission denied": "Permission denied",
    b"Operation not permitted": "Operation not permitted",
    b"Input/output error": "Input/output error",
    b"Structure needs cleaning": "Structure needs cleaning",
    b"Stale file handle": "Stale file handle",
    b"Stale NFS file handle": "Stale file handle",
    b"File name too long": "it lies too deep to be asked for",
    b"Not a directory": REPLACED,
    b"Too many levels of symbolic links": REPLACED,
}
"""What makes a place blind, as it is said of it."""
