"""The declaration of a bag, `bagit.txt`: by which version of BagIt its paths are escaped, and their encoding.

RFC 8493, 2.1.3: since version 1.0 a path has CR, LF and % percent-encoded, and only those. Before (drafts of 0.93 to
0.97) the percent sign was not; the writers of those bags encode CR and LF alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.readers.open_manifests.lines import refuse_odd_start
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.visible import visible

_NAME: Final = b"bagit.txt"
_SHAPE: Final = re.compile(
    rb"BagIt-Version: *([0-9]{1,3})\.([0-9]{1,3})[ \t]*(?:\r\n|\r|\n)"
    rb"Tag-File-Character-Encoding: *([A-Za-z0-9._-]{1,40})[ \t]*(?:\r\n|\r|\n)?"
)
_NEWEST: Final = (1, 0)
_OLDEST: Final = (0, 93)
_AS_THEY_ARE: Final = frozenset({"utf-8", "utf8", "us-ascii", "ascii"})
_OTHERS: Final = frozenset({"iso-8859-1", "iso-8859-15", "windows-1252"})
_PERCENT: Final = re.compile(rb"%(..)?", re.DOTALL)
_ENDS_ONLY: Final = re.compile(rb"%(0[AaDd])")
_MEANING: Final = {b"0A": b"\n", b"0D": b"\r", b"25": b"%"}


@dataclass(frozen=True, kw_only=True)
class Declaration:
    """What `bagit.txt` says."""

    major: int
    minor: int
    encoding: str

    @property
    def version(self) -> str:
        """Return the version as it is written."""
        return f"{self.major}.{self.minor}"

    def decoded(self, name: bytes, line: int, within: bytes) -> bytes:
        """Return a path as it stands on disk, in UTF-8. Raises OpenManifestError for what is no escape.

        Names in a bag of UTF-8 that are none are kept byte by byte.
        """
        if self.encoding not in _AS_THEY_ARE:
            try:
                name = name.decode(self.encoding).encode()
            except UnicodeDecodeError:
                raise OpenManifestError(
                    f"{visible(name[:200])} is not {self.encoding}", "save it as UTF-8", line=line, within=within
                ) from None
        if (self.major, self.minor) < _NEWEST:
            return _ENDS_ONLY.sub(lambda found: _MEANING[found[1].upper()], name)

        def meaning(found: re.Match[bytes]) -> bytes:
            if (found[1] or b"").upper() not in _MEANING:
                raise OpenManifestError(
                    f"{visible(found[0])} in {visible(name[:200])} is no escape of BagIt 1.0 (%0A, %0D, %25)",
                    "make the bag's manifests anew",
                    line=line,
                    within=within,
                )
            return _MEANING[found[1].upper()]

        return _PERCENT.sub(meaning, name)


def declaration_of(content: bytes | None) -> Declaration:
    """Read `bagit.txt` (None: there is none). Raises OpenManifestError."""
    if content is None:
        raise OpenManifestError("bagit.txt is not there: this is no bag", "name the folder that holds bagit.txt")
    refuse_odd_start(content, _NAME)
    shape = _SHAPE.fullmatch(content)
    if not shape:
        raise OpenManifestError(
            "it is not the two lines BagIt-Version and Tag-File-Character-Encoding", "write them anew", within=_NAME
        )
    declared = Declaration(major=int(shape[1]), minor=int(shape[2]), encoding=shape[3].decode().lower())
    if not _OLDEST <= (declared.major, declared.minor) <= _NEWEST:
        raise OpenManifestError(f"BagIt {declared.version} is not known here", "use version 1.0", within=_NAME)
    if declared.encoding not in _AS_THEY_ARE | _OTHERS:
        raise OpenManifestError(f"the encoding {declared.encoding} is not known here", "use UTF-8", within=_NAME)
    return declared
