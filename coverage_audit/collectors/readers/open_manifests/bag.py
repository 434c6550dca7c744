"""A BagIt bag (RFC 8493) by its own files at the top: what its payload manifests list, below `data/`.

Rows are files of the payload, their paths relative to `data/`: the root of the tree is that folder. What `fetch.txt`
names is still to be fetched, so it is not held (also where it was fetched since: a bag that is whole needs no
`fetch.txt`). Tag manifests are held against the files that are at hand, and the count of `Payload-Oxum` against the
rows; so a manifest that was cut between two lines does not pass. Lines may end in CR, LF or CRLF, as the RFC says.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.readers.open_manifests.bag_declaration import Declaration, declaration_of
from coverage_audit.collectors.readers.open_manifests.digests import DIGITS, hex_digest, strongest
from coverage_audit.collectors.readers.open_manifests.lines import refuse_nul, refuse_odd_start, whole_lines
from coverage_audit.collectors.readers.open_manifests.listed_tree import Gathering, ListedTree
from coverage_audit.collectors.readers.open_manifests.paths import file_path
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError
from coverage_audit.evidence.manifest import Kind
from coverage_audit.evidence.visible import visible

LACKS: Final = frozenset({"mtime", "size", "ctime", "links", "blocks", "targets", "kinds"})
PAYLOAD: Final = b"data/"

_NAME: Final = re.compile(rb"(tag)?manifest-([A-Za-z0-9_-]{1,20})\.txt")
_LINE: Final = re.compile(rb"([0-9a-fA-F]+)[ \t]+([^ \t].*)", re.DOTALL)
_FETCHED: Final = re.compile(rb"[^ \t]+[ \t]+(?:-|[0-9]+)[ \t]+([^ \t].*)", re.DOTALL)
_OXUM: Final = re.compile(rb"^Payload-Oxum:[ \t]*[0-9]+\.([0-9]{1,19})[ \t]*$", re.MULTILINE | re.IGNORECASE)
_List = list[tuple[bytes, bytes, int]]  # path, digest, line
_ANEW: Final = "make the bag's manifests anew"


@dataclass(frozen=True, kw_only=True)
class BagFile:
    """A file at the top of a bag: its name and what it holds."""

    name: bytes
    content: bytes


def parse_bag(files: Sequence[BagFile]) -> ListedTree:
    """Read a bag out of all the files at its top (`bagit.txt`, manifests, tag manifests, `fetch.txt`, …).

    Raises OpenManifestError.
    """
    declaration = declaration_of(next((file.content for file in files if file.name == b"bagit.txt"), None))
    payload = _of_kind(files, tag=False)
    if not payload:
        raise OpenManifestError(
            f"the bag has no payload manifest with one of {', '.join(DIGITS)}", "write manifest-sha256.txt"
        )
    _hold_tag_files(files, declaration)
    lists = {algorithm: _listed(file, algorithm, declaration) for algorithm, file in payload.items()}
    best = strongest(set(lists))
    for algorithm, listed in lists.items():
        _refuse_difference(payload[best], lists[best], payload[algorithm], listed)
    rows = _held(payload[best], lists[best], _to_fetch(files, declaration))
    _refuse_other_count(files, len(lists[best]))
    return ListedTree(columns=rows.columns(), lacks=LACKS, digest=best, how=f"bagit {declaration.version}")


def _of_kind(files: Sequence[BagFile], *, tag: bool) -> dict[str, BagFile]:
    found: dict[str, BagFile] = {}
    for file in files:
        name = _NAME.fullmatch(file.name)
        algorithm = name[2].decode().lower().replace("-", "") if name else ""
        if name and bool(name[1]) == tag and algorithm in DIGITS:
            if algorithm in found:
                raise OpenManifestError(f"the bag has two manifests of {algorithm}", "keep one", within=file.name)
            found[algorithm] = file
    return found


def _lines(file: BagFile) -> list[bytes]:
    refuse_odd_start(file.content, file.name)
    refuse_nul(file.content, file.name)
    return whole_lines(file.content.replace(b"\r\n", b"\n").replace(b"\r", b"\n"), file.name)


def _listed(file: BagFile, algorithm: str, declaration: Declaration) -> _List:
    """Return what a payload manifest or tag manifest lists."""
    listed = []
    for number, line in enumerate(_lines(file), 1):
        parts = _LINE.fullmatch(line)
        digest = hex_digest(parts[1]) if parts else None
        if parts is None or digest is None or len(parts[1]) != DIGITS[algorithm]:
            raise OpenManifestError(
                f'"{visible(line[:80])}" is no digest of {algorithm} and a path', _ANEW, line=number, within=file.name
            )
        name = parts[2][1:] if parts[2].startswith(b"*") else parts[2]  # as checksum tools mark binary files
        listed.append((_path(name, number, file, declaration), digest, number))
    return listed


def _path(name: bytes, number: int, file: BagFile, declaration: Declaration) -> bytes:
    return file_path(declaration.decoded(name, number, file.name), line=number, within=file.name)


def _held(file: BagFile, listed: _List, to_fetch: set[bytes]) -> Gathering:
    rows = Gathering(len(file.content), file.name)
    for path, digest, number in listed:
        if not path.startswith(PAYLOAD):
            raise OpenManifestError(
                f"{visible(path)} lies outside of the payload folder data/", _ANEW, line=number, within=file.name
            )
        if path not in to_fetch:
            rows.add(Kind.FILE, path.removeprefix(PAYLOAD), number, digest)
    missing = to_fetch.difference(path for path, _, _ in listed)
    if missing:
        raise OpenManifestError(
            f"{visible(min(missing))} is to be fetched, but {visible(file.name)} does not list it",
            _ANEW,
            within=b"fetch.txt",
        )
    return rows


def _refuse_difference(file: BagFile, listed: _List, other: BagFile, others: _List) -> None:
    difference = {path for path, _, _ in listed} ^ {path for path, _, _ in others}
    if difference:
        raise OpenManifestError(
            f"{visible(min(difference))} stands in only one of {visible(file.name)} and {visible(other.name)}", _ANEW
        )


def _to_fetch(files: Sequence[BagFile], declaration: Declaration) -> set[bytes]:
    found: set[bytes] = set()
    for file in files:
        if file.name != b"fetch.txt" or not file.content:
            continue
        for number, line in enumerate(_lines(file), 1):
            parts = _FETCHED.fullmatch(line)
            if not parts:
                raise OpenManifestError(
                    f'"{visible(line[:80])}" is no address, length and path', _ANEW, line=number, within=file.name
                )
            found.add(_path(parts[1], number, file, declaration))
    return found


def _hold_tag_files(files: Sequence[BagFile], declaration: Declaration) -> None:
    """Raise OpenManifestError where a file at hand is not what a tag manifest says, or is listed but not there."""
    contents = {file.name: file.content for file in files}
    for algorithm, file in _of_kind(files, tag=True).items():
        for path, digest, number in _listed(file, algorithm, declaration):
            if b"/" in path or path.startswith(b"tagmanifest-"):
                continue  # a tag file of the owner's, deeper down
            why = "is not there"
            if path in contents:
                why = "is not what it was when the bag was made"
                if hashlib.new(algorithm, contents[path], usedforsecurity=False).digest() == digest:
                    continue
            raise OpenManifestError(
                f"{visible(path)} {why}", "mend or make the bag anew", line=number, within=file.name
            )


def _refuse_other_count(files: Sequence[BagFile], count: int) -> None:
    for file in files:
        said = _OXUM.search(file.content.replace(b"\r", b"\n")) if file.name == b"bag-info.txt" else None
        if said and int(said[1]) != count:
            raise OpenManifestError(
                f"Payload-Oxum says {int(said[1])} files, the manifest lists {count}: it may be cut",
                _ANEW,
                within=file.name,
            )
