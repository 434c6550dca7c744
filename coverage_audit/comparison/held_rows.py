"""Rows of listings as the question "is it held elsewhere?" needs them: files, and whose they are."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.leaving_out import KEPT, LeavingOut
from coverage_audit.comparison.side import FILE, FOLDER, LINK, letter_codes
from coverage_audit.comparison.totals import tally
from coverage_audit.estate.model import DatasetId
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Kinds
from coverage_audit.evidence.engine import Engine
from coverage_audit.evidence.keys import keys_of
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import RowReader
from coverage_audit.evidence.store.columns import integers, single

_COLUMNS = ("path", "kind", "size", "mtime_ns", "ctime_ns", "links", "key_hi", "key_lo")
NOBODY = -1


@dataclass(frozen=True, kw_only=True)
class Region:
    """A dataset's place in a tree: `prefix` is its path below the tree's root (b"": all of it)."""

    prefix: bytes
    dataset: DatasetId
    leave_out: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class HeldTree:
    """A listed tree. `below` is its root's path below its volume; what `not_kept` names, from there, is no file of it.

    `regions` are in the order in which they hold: what lies in a later one too is the later's.
    """

    manifest: Manifest
    below: bytes = b""
    regions: tuple[Region, ...] = ()
    not_kept: tuple[str, ...] = ()

    def in_volume(self, path: bytes) -> bytes:
        """Return the path below the volume of a path of the tree."""
        return b"/".join(part for part in (self.below, path) if part)


@dataclass
class Seen:
    """What was counted while rows went by; `by_pattern` is what each pattern of `not_kept` named.

    `claimed` is what of that lies where a dataset has its place.
    """

    kinds: Kinds = field(default_factory=Kinds)
    by_pattern: dict[int, Tally] = field(default_factory=dict)
    claimed: dict[int, Tally] = field(default_factory=dict)


def files_of(
    engine: Engine, tree: HeldTree, seed: bytes, datasets: Sequence[DatasetId], seen: Seen, sizes: Any = None
) -> Iterator[Any]:
    """Yield tables of the regular files of a tree that are to be kept; only those of `sizes` (rising) where given.

    Columns: place (the row's number), size, mtime, ctime, key_hi, key_lo (of the path below the volume's tree), dataset
    (its number in `datasets`, or NOBODY), left_out, listed_hi, listed_lo (null outside all regions). What is seen
    is added to `seen`.
    """
    leaving = LeavingOut(tree.not_kept)
    outs = [LeavingOut(region.leave_out) for region in tree.regions]
    start = 0
    with RowReader(tree.manifest.file, coded=True) as reader:
        for number in range(len(reader.groups)):
            table = reader.read([number], _COLUMNS)
            kinds = letter_codes(table["kind"])
            place = np.arange(start, start + len(table))
            start += len(table)
            kept = _to_keep(table, kinds, tree, leaving, seen)
            _count(table.filter(pa.array(kept)), kinds[kept], seen)
            wanted = kept & (kinds == FILE)
            if sizes is not None:
                wanted &= np.isin(integers(table["size"]), sizes)
            chosen = np.flatnonzero(wanted)
            if len(chosen):
                found = table.take(pa.array(chosen))
                yield _with_regions(engine, found, place[chosen], tree, outs, seed, datasets, seen)


def count_links_out(tree: HeldTree, roots: Sequence[bytes]) -> int:
    """Count the links of a tree that lead outside all of `roots` (absolute paths), by their spelling."""
    root = posixpath.normpath(tree.manifest.origin.root.encode("utf-8", "surrogateescape"))
    inside = tuple(posixpath.normpath(one) for one in roots)
    out = 0
    with RowReader(tree.manifest.file, coded=True) as reader:
        for number in range(len(reader.groups)):
            table = reader.read([number], ["kind", "path", "target"])
            links = table.filter(pa.array(letter_codes(table["kind"]) == LINK))
            for path, target in zip(links["path"].to_pylist(), links["target"].to_pylist(), strict=True):
                leads = posixpath.normpath(posixpath.join(root, posixpath.dirname(path), target or b""))
                out += not any(leads == one or leads.startswith(one.rstrip(b"/") + b"/") for one in inside)
    return out


def _to_keep(table: Any, kinds: Any, tree: HeldTree, leaving: LeavingOut, seen: Seen) -> Any:
    if not leaving:
        return np.ones(len(table), dtype=bool)
    paths = single(table["path"])
    if tree.below:
        paths = pc.binary_join_element_wise(pa.scalar(tree.below, pa.binary()), paths, pa.scalar(b"/", pa.binary()))
    by = leaving.which_of(paths, kinds)
    sizes, datasets = integers(table["size"]), np.zeros(len(table), dtype=bool)
    for region in tree.regions:
        datasets[below_of(single(table["path"]), region.prefix)] = True
    for pattern in np.unique(by[by != KEPT]).tolist():
        for found, these in ((seen.by_pattern, by == pattern), (seen.claimed, (by == pattern) & datasets)):
            found[pattern] = found.get(pattern, Tally()) + tally(kinds[these], sizes[these])
    return by == KEPT


def _count(table: Any, kinds: Any, seen: Seen) -> None:
    sizes = integers(table["size"])
    files = kinds == FILE
    linked = files & (integers(table["links"]) > 1)
    seen.kinds += Kinds(
        files=Tally(files=int(files.sum()), bytes=int(sizes[files].sum())),
        hard_linked=Tally(files=int(linked.sum()), bytes=int(sizes[linked].sum())),
        empty=int((files & (sizes == 0)).sum()),
        links=int((kinds == LINK).sum()),
        folders=int((kinds == FOLDER).sum()),
        others=int((~np.isin(kinds, [FILE, FOLDER, LINK])).sum()),
    )


def _with_regions(  # noqa: PLR0913, PLR0917 - one step of one loop
    engine: Engine,
    found: Any,
    place: Any,
    tree: HeldTree,
    outs: Sequence[LeavingOut],
    seed: bytes,
    datasets: Sequence[DatasetId],
    seen: Seen,
) -> Any:
    paths = single(found["path"])
    dataset = np.full(len(found), NOBODY, np.int32)
    left_out = np.zeros(len(found), dtype=bool)
    listed = np.zeros((2, len(found)), np.uint64)
    for region, out in zip(tree.regions, outs, strict=True):
        rows = below_of(paths, region.prefix)
        if not len(rows):
            continue
        inner = inner_of(paths.take(pa.array(rows)), region.prefix)
        dataset[rows] = datasets.index(region.dataset)
        left_out[rows] = out.which_of(inner, np.full(len(rows), FILE, np.uint8)) != KEPT if out else False
        keys = keys_of(engine, seed + region.dataset.encode() + b"\0", inner)
        listed[0][rows], listed[1][rows] = integers(keys["key_hi"]), integers(keys["key_lo"])
    sizes = integers(found["size"])
    out_sizes = sizes[left_out]
    seen.kinds = replace(
        seen.kinds, left_out=seen.kinds.left_out + Tally(files=len(out_sizes), bytes=int(out_sizes.sum()))
    )
    nobodys = pa.array(dataset == NOBODY)
    return pa.table(
        {
            "place": pa.array(place),
            "size": found["size"],
            "mtime": found["mtime_ns"],
            "ctime": found["ctime_ns"],
            "key_hi": found["key_hi"],
            "key_lo": found["key_lo"],
            "dataset": pa.array(dataset),
            "left_out": pa.array(left_out),
            "listed_hi": pc.if_else(nobodys, pa.scalar(None, pa.uint64()), pa.array(listed[0])),
            "listed_lo": pc.if_else(nobodys, pa.scalar(None, pa.uint64()), pa.array(listed[1])),
        }
    )


def below_of(paths: Any, prefix: bytes) -> Any:
    """Return the numbers of the paths that lie below a folder (b"": all)."""
    if not prefix:
        return np.arange(len(paths))
    return np.flatnonzero(pc.starts_with(paths, pattern=prefix + b"/").to_numpy(zero_copy_only=False))


def inner_of(paths: Any, prefix: bytes) -> Any:
    """Return paths below a folder as they are from there."""
    return pc.binary_replace_slice(paths, 0, len(prefix) + 1, b"") if prefix else paths
