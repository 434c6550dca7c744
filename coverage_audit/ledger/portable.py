"""Recorded trees as one file that is carried from one machine to another.

A first line that names the format; a line with the length and the SHA-256 of the description that follows it (JSON);
then the manifests, one after the other, each with its length and SHA-256 in the description. Nothing may follow. So a
file that was cut or changed anywhere is known for it, before anything in it is taken for a manifest.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Final

from coverage_audit.errors import EvidenceError
from coverage_audit.estate.addresses import parse_address
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.evidence.store import open_manifest
from coverage_audit.ledger.shelf import load_shelf_facts, shelf_tree, store_shelf_facts

_NAME: Final = b"coverage-audit/portable-manifest/"
_FIRST_LINE: Final = _NAME + b"1\n"
_LONGEST_DESCRIPTION: Final = 16 << 20  # bytes
_PIECE: Final = 1 << 20


def is_portable(file: Path) -> bool:
    """Whether a file says that it is one of these, of any version. Raises EvidenceError where it cannot be read."""
    try:
        with file.open("rb") as opened:
            return opened.read(len(_NAME)) == _NAME
    except OSError as error:
        raise EvidenceError(f"{file} cannot be read: {error.strerror or error}") from error


def write_portable(file: Path, trees: Sequence[ShelfTree]) -> None:
    """Write trees to a file, whole or not at all. Raises EvidenceError where it cannot be written."""
    described = json.dumps({"trees": [_described(tree) for tree in trees]}, sort_keys=True).encode("ascii")
    part = file.with_name(f"{file.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as out:
            out.write(_FIRST_LINE + b"%d %s\n" % (len(described), _digest(described)) + described)
            for tree in trees:
                with tree.manifest.file.open("rb") as manifest:
                    while piece := manifest.read(_PIECE):
                        out.write(piece)
        part.replace(file)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise EvidenceError(f"{file} could not be written: {error.strerror or error}") from error


def read_portable(file: Path, into: Path) -> tuple[ShelfTree, ...]:
    """Read the trees of a file back, their manifests unpacked in the folder `into`.

    Raises EvidenceError for a file that is none of these, was cut or changed, or was written by a newer version.
    """
    try:
        with file.open("rb") as opened:
            return _trees(opened, into)
    except EvidenceError as error:
        raise EvidenceError(f"{file} is no evidence: {error}") from error
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError) as error:
        raise EvidenceError(f"{file} is no evidence: it cannot be read ({type(error).__name__}: {error})") from error


def _described(tree: ShelfTree) -> dict[str, Any]:
    hashed = hashlib.sha256()
    with tree.manifest.file.open("rb") as manifest:
        while piece := manifest.read(_PIECE):
            hashed.update(piece)
    return {
        "address": str(tree.address),
        "at": tree.at.isoformat(),
        "bytes": tree.manifest.file.stat().st_size,
        "sha256": hashed.hexdigest(),
        "facts": store_shelf_facts(tree),
    }


def _description(opened: IO[bytes]) -> Any:
    first = opened.readline(100)
    if first != _FIRST_LINE:
        if first.startswith(_NAME) and first.endswith(b"\n"):
            raise EvidenceError(f"it was written by a newer version ({first[:-1].decode('ascii', 'replace')})")
        raise EvidenceError(
            "it is no manifest that was carried from another machine (another program's takes --for and --made)"
        )
    length, _, digest = opened.readline(100).rstrip(b"\n").partition(b" ")
    if not length.isdigit() or int(length) > _LONGEST_DESCRIPTION:
        raise EvidenceError("its description is damaged")
    text = opened.read(int(length))
    if len(text) != int(length) or _digest(text) != digest:
        raise EvidenceError("its description is damaged, or the file was cut")
    return json.loads(text)


def _trees(opened: IO[bytes], into: Path) -> tuple[ShelfTree, ...]:
    described = _description(opened)
    trees = tuple(_tree(opened, one, into) for one in described["trees"])
    if opened.read(1) or not trees:
        raise EvidenceError("it does not end where it should")
    return trees


def _tree(opened: IO[bytes], described: Any, into: Path) -> ShelfTree:
    left, hashed = described["bytes"], hashlib.sha256()
    target = into / f"carried-{secrets.token_hex(16)}.parquet"
    with target.open("xb") as out:
        while left > 0 and (piece := opened.read(min(left, _PIECE))):
            hashed.update(piece)
            out.write(piece)
            left -= len(piece)
    if left or hashed.hexdigest() != described["sha256"]:
        raise EvidenceError("a manifest in it is damaged, or the file was cut")
    address, at = parse_address(described["address"]), datetime.fromisoformat(described["at"])
    manifest = open_manifest(target)
    origin = manifest.origin
    facts = load_shelf_facts(address, described["facts"])
    moments = [at, origin.started, origin.finished]
    moments += [one.at for one in (facts.device, facts.volume, facts.points) if one is not None]
    moments += (
        [moment for point in facts.points.points for moment in (point.earliest, point.latest)] if facts.points else []
    )
    if any(moment.tzinfo is None for moment in moments) or at != origin.started:
        raise EvidenceError("it does not say when it was made")
    return shelf_tree(address, manifest, facts, at=at, host=None)


def _digest(text: bytes) -> bytes:
    return hashlib.sha256(text).hexdigest().encode("ascii")
