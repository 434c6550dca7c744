"""Which files of a copy a drill reads back: a random sample of what it was last found to hold, or those named."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from coverage_audit.audits.parts import Parts
from coverage_audit.comparison.drawing import Again, Compared, Drawn, again, draw
from coverage_audit.comparison.leaving_out import patterns_of
from coverage_audit.comparison.ranks import SEED_BYTES
from coverage_audit.errors import CollectionError, EvidenceError, UsageError
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Copy, Dataset, Estate
from coverage_audit.evidence.drilling import FilesBack, Outstanding
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.store import open_manifest
from coverage_audit.evidence.visible import visible
from coverage_audit.ledger.record import EarlierRecord

_AT_MOST_OLD: Final = 1000
"""Files found damaged before that are read again with a drill; the others stay outstanding until a later one."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The files to be read back, by path; `missing` are named ones that the copy was not found to hold.

    `drawn` of them were drawn at random, `old` were found damaged before. `outstanding` is all that was found damaged
    before and not read back right since, what has settled by itself left out. `held` is how many the copy holds.
    """

    compared: Compared
    files: Mapping[bytes, Drawn]
    named: int
    missing: tuple[bytes, ...] = ()
    drawn: AbstractSet[bytes] = frozenset()
    old: AbstractSet[bytes] = frozenset()
    outstanding: tuple[Outstanding, ...] = ()
    held: int = 0

    def as_named(self, back: FilesBack) -> FilesBack:
        """Return what was read back under the copy's own spelling by the paths that the original has."""
        names = {one.there: path for path, one in self.files.items()}
        return replace(
            back,
            back=tuple(replace(one, path=names[one.path]) for one in back.back),
            left=tuple(replace(one, path=names[one.path]) for one in back.left),
        )


def choose(estate: Estate, dataset: Dataset, copy: Copy, *, count: int, paths: Sequence[bytes], parts: Parts) -> Choice:
    """Choose `count` files at random, or those of `paths`, and what drills before found damaged.

    Raises CollectionError where no audit has compared the copy yet, or it was found to hold nothing; UsageError for
    paths that the original does not list.
    """
    compared = _compared(estate, dataset, copy, parts)
    lineage = lineage_of(estate)
    before = parts.ledger.drills.newest(dataset.id, copy.address, lineage).outstanding
    wanted = tuple(dict.fromkeys((*paths, *(one.path for one in before))))
    found = again(compared, wanted, parts.work)
    outstanding = tuple(one for one in before if not _settled(one, found))
    old = _at_most([one.path for one in outstanding if one.path in found.held])
    unknown = [path for path in paths if path not in found.listed]
    if unknown:
        names = ", ".join(visible(path) for path in unknown[:5])
        raise UsageError(
            f"--path: no file of the original by the last audit: {names} (paths are below {dataset.original})"
        )
    drawn = draw(compared, secrets.token_bytes(SEED_BYTES), 0 if paths else count, parts.work)
    if not drawn.population.files:
        raise CollectionError(
            f"{copy.address} was not found to hold any file of {dataset.id}: there is nothing to read"
        )
    named = [path for path in dict.fromkeys(paths) if path in found.held]
    files = {one.path: one for one in drawn.files} | {path: found.held[path] for path in (*named, *old)}
    return Choice(
        compared=compared,
        files=files,
        named=len(named),
        missing=tuple(path for path in paths if path not in found.held),
        drawn=frozenset(one.path for one in drawn.files),
        old=frozenset(old),
        outstanding=outstanding,
        held=drawn.population.files,
    )


def _settled(one: Outstanding, found: Again) -> bool:
    """Whether damage is over without being mended: its original is gone, or another version that the copy lacks."""
    now = found.listed.get(one.path)
    if now is None:
        return True
    if one.path in found.held or one.size is None:
        return False
    return (one.size, one.mtime_ns) != (now.size, now.mtime_ns)


def _at_most(paths: Sequence[bytes]) -> Sequence[bytes]:
    """Return those that are read again: all, or some at random, so that each has its turn."""
    return paths if len(paths) <= _AT_MOST_OLD else secrets.SystemRandom().sample(paths, _AT_MOST_OLD)


def _compared(estate: Estate, dataset: Dataset, copy: Copy, parts: Parts) -> Compared:
    """Return the last comparison of the copy, with both its listings."""
    never = CollectionError(f"{copy.address} was not compared with its original yet: type `coverage-audit audit` first")
    known = parts.ledger.earlier(dataset.id, copy.address, lineage_of(estate))
    if known is None or known.copy_manifest is None or known.relation is None or known.accepted:
        raise never
    original = _original(known)
    if original is None:
        raise never
    try:
        compared = Compared(
            original=original,
            copy=open_manifest(known.copy_manifest),
            relation=known.relation,
            leave_out=patterns_of(estate.litter, dataset, copy),
        )
    except EvidenceError as error:
        raise never from error
    lacks = (compared.original.origin.lacks | compared.copy.origin.lacks) & {"size", "mtime"}
    if lacks:
        said = " and no ".join(sorted(lacks))
        raise CollectionError(
            f"{copy.address}: its listing shows no {said} of a file, so none is told from a changed one"
        )
    return compared


def _original(known: EarlierRecord) -> Manifest | None:
    """Open the newest complete listing of the original that the comparison can have rested on."""
    files: list[Path] = [file for started, file in known.originals if started <= known.at]
    for file in reversed(files):
        try:
            return open_manifest(file)
        except EvidenceError:
            continue
    return None
