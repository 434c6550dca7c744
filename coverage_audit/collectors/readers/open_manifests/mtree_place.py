"""Where an entry of an mtree(5) specification lies: folders entered and left, or full paths."""

from __future__ import annotations

from coverage_audit.collectors.readers.open_manifests.mtree_lines import Entry
from coverage_audit.collectors.readers.open_manifests.mtree_words import slashes, unescaped
from coverage_audit.collectors.readers.open_manifests.paths import plain_path
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.manifest import Kind
from coverage_audit.evidence.visible import visible

_ANEW = "make the specification anew"


class Place:
    """The current folder, and which folders there are."""

    def __init__(self) -> None:
        self._inside: list[bytes] = []
        self._folders = {b""}
        self._full = False
        self._closed = False

    def path(self, entry: Entry, kind: Kind) -> bytes:
        """Return the entry's path below the root; the root's own is empty. A folder is entered by its relative entry.

        Raises OpenManifestError.
        """
        name = unescaped(entry.name)
        if name is None:
            raise OpenManifestError(f"{visible(entry.name[:200])} holds a bad escape", _ANEW, line=entry.line)
        if name.count(b"/") != slashes(entry.name):
            raise OpenManifestError(f"{visible(name[:200])} holds an escaped slash", _ANEW, line=entry.line)
        full = b"/" in name
        if not full and name != b".":
            self._refuse_relative(entry)
        self._full |= full
        path = plain_path(name if full else self._below(name), line=entry.line)
        parent = path.rpartition(b"/")[0]
        if parent not in self._folders:
            raise OpenManifestError(
                f"{visible(path)} lies in a folder that is not listed", "list every folder too", line=entry.line
            )
        if kind is Kind.FOLDER:
            self._folders.add(path)
            if not full and path:
                self._inside.append(path)
        elif not path:
            raise OpenManifestError("the root is no folder", _ANEW, line=entry.line)
        return path

    def leave(self, line: int) -> None:
        """Go up one folder. The root may be left once, at the end."""
        if self._closed or self._full:
            raise OpenManifestError("it leads outside of the tree (..)", _ANEW, line=line)
        if self._inside:
            self._inside.pop()
        else:
            self._closed = True

    def end(self) -> None:
        """Raise OpenManifestError where a folder was entered and not left: then the specification was cut."""
        if self._inside:
            raise OpenManifestError(
                f"the folder {visible(self._inside[-1])} is not left at the end: the specification was cut",
                "make it anew, or end each folder with a line of two dots (..)",
            )

    def _refuse_relative(self, entry: Entry) -> None:
        if self._closed:
            raise OpenManifestError("it comes after the root was left", _ANEW, line=entry.line)
        if self._full:
            raise OpenManifestError(
                "it has no slash, after full paths: programs differ on where it lies",
                "write full paths only (mtree -C)",
                line=entry.line,
            )

    def _below(self, name: bytes) -> bytes:
        return b"" if name == b"." else b"/".join([*self._inside[-1:], name])
