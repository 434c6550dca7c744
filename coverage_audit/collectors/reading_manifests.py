"""Open manifests made evidence: the files of a bag read on this machine, a listed tree written as a manifest."""

from __future__ import annotations

import os
import secrets
import stat
from datetime import datetime
from pathlib import Path
from typing import Final

from coverage_audit.collectors.readers.open_manifests import BagFile, ListedTree, OpenManifestError
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Address
from coverage_audit.evidence.batches.listed import listed_rows
from coverage_audit.evidence.manifest import Manifest, Origin
from coverage_audit.evidence.store import ManifestWriter
from coverage_audit.evidence.visible import visible

MOST_BYTES: Final = 1 << 30  # of one file: a manifest of some ten million files


def open_manifest_of(listed: ListedTree, address: Address, root: str, made_at: datetime, work: Workspace) -> Manifest:
    """Write a listed tree as a manifest into the folder of `work`, return it; partial where it names blind places.

    `made_at` is when the tree was as it is listed (of a bag or a file: when that was written). Raises EvidenceError
    when it cannot be stored; no file is left then.
    """
    file = work.folder / f"{secrets.token_hex(16)}.parquet"
    writer = ManifestWriter(file, work.seed, work.memory, started=made_at)
    try:
        for batch in listed_rows(listed.columns):
            writer.add(batch)
        origin = Origin(
            address=address,
            root=root,
            how=listed.how,
            started=made_at,
            finished=made_at,
            lacks=listed.lacks,
            digest=listed.digest,
        )
        return writer.finish(origin, listed.blind)
    except BaseException:
        writer.abandon()
        raise


def read_open_manifest(file: Path) -> bytes:
    """Return what a file on this machine holds. Raises OpenManifestError where it cannot be read or is too large."""
    try:
        descriptor = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)  # a pipe must not hang the night
        with open(descriptor, "rb") as source:  # noqa: PTH123 - of a descriptor
            shown = os.fstat(descriptor)
            if not stat.S_ISREG(shown.st_mode):
                raise OpenManifestError("it is no regular file", "name a file", within=os.fsencode(file))
            content = source.read(MOST_BYTES + 1)
    except OSError as error:
        why = f"it cannot be read ({error.strerror})"
        raise OpenManifestError(why, "let the auditor read it", within=os.fsencode(file)) from error
    if len(content) > MOST_BYTES:
        raise OpenManifestError(f"it is larger than {MOST_BYTES} bytes", "split the tree", within=os.fsencode(file))
    return content


def bag_files(folder: Path) -> tuple[BagFile, ...]:
    """Return the regular files at the top of a bag on this machine, for `parse_bag`.

    Raises OpenManifestError, also where what is still to be fetched stands in no regular file: else it would pass for
    held.
    """
    try:
        with os.scandir(folder) as entries:
            regular = {os.fsencode(entry.name): entry.is_file(follow_symlinks=False) for entry in entries}
    except OSError as error:
        why = f"{visible(os.fsencode(folder))} cannot be read ({error.strerror})"
        raise OpenManifestError(why, "let the auditor read it") from error
    if not regular.get(b"fetch.txt", True):
        raise OpenManifestError("it is no regular file", "put in its place what it leads to", within=b"fetch.txt")
    names = sorted(name for name, is_file in regular.items() if is_file)
    return tuple(BagFile(name=name, content=read_open_manifest(folder / os.fsdecode(name))) for name in names)
