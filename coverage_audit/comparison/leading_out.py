"""Symbolic links of a copy that lead outside all that is declared, or to what is not there."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.comparison.side import LINK
from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import octets_of


def leading_out(engine: Engine, manifest: Manifest, roots: Sequence[bytes]) -> tuple[Seen, ...]:
    """Return how many links lead outside every one of the declared `roots` (absolute paths), with one and its target.

    An absolute link into the tree itself that finds nothing there leads nowhere. Paths are taken by their spelling: a
    link above a link is not followed. Raises EvidenceError where the manifest cannot be read.
    """
    root = posixpath.normpath(manifest.origin.root.encode("utf-8", "surrogateescape"))
    declared = tuple(posixpath.normpath(one) for one in (*roots, root))
    count, example, inside = 0, (b"", b""), dict[bytes, list[tuple[bytes, bytes]]]()
    for path, target in _links(manifest):
        absolute = posixpath.normpath(posixpath.join(root, posixpath.dirname(path), target))
        if not any(_below(absolute, one) for one in declared):
            count, example = count + 1, example if count else (path, target)
        elif target.startswith(b"/") and absolute != root and _below(absolute, root):
            inside.setdefault(absolute[len(root.rstrip(b"/")) + 1 :], []).append((path, target))
    for gone in _not_there(engine, manifest, inside):
        count, example = count + len(inside[gone]), example if count else inside[gone][0]
    return (Seen(sight=Sight.LEADING_OUT, entries=count, example=example[0], beside=example[1]),) if count else ()


def _below(path: bytes, root: bytes) -> bool:
    return path == root or path.startswith(root.rstrip(b"/") + b"/")


def _links(manifest: Manifest) -> Iterator[tuple[bytes, bytes]]:
    with RowReader(manifest.file) as reader:
        for number in range(len(reader.groups)):
            kinds = np.frombuffer(octets_of(reader.read([number], ["kind"])["kind"]), np.uint8)
            if (kinds == LINK).any():
                rows = reader.read([number], ["path", "target"]).filter(pa.array(kinds == LINK))
                yield from (
                    (path, target)
                    for path, target in zip(rows["path"].to_pylist(), rows["target"].to_pylist(), strict=True)
                    if target
                )


def _not_there(engine: Engine, manifest: Manifest, wanted: dict[bytes, Any]) -> Sequence[bytes]:
    if not wanted:
        return ()
    engine.execute("CREATE OR REPLACE TEMP TABLE asked AS SELECT * FROM part", tables={"part": _paths(list(wanted))})
    with RowReader(manifest.file) as reader:
        for number in range(len(reader.groups)):
            there = {"part": reader.read([number], ["path"])}
            engine.execute("DELETE FROM asked WHERE path IN (SELECT path FROM part)", tables=there)
    gone: list[bytes] = engine.query("SELECT path FROM asked ORDER BY path")["path"].to_pylist()
    return gone


def _paths(paths: Sequence[bytes]) -> Any:
    return pa.table({"path": pa.array(paths, pa.binary())})
