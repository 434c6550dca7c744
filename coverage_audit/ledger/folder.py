"""The state folder: what lies where, made with care for a crash and for other accounts on the machine.

lock  daemon.lock  sending.lock  summary.lock  seed  ledger.db  manifests/  relations/  digests/  pages/
summaries/  staging/<audit>/
"""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from coverage_audit.errors import LedgerError
from coverage_audit.evidence.durable import bring_to_disk

SEED_BYTES = 16


@dataclass(frozen=True, kw_only=True)
class StateFolder:
    """The places in one state folder."""

    path: Path

    @property
    def database(self) -> Path:
        """The SQLite ledger."""
        return self.path / "ledger.db"

    @property
    def manifests(self) -> Path:
        """Where recorded manifests lie."""
        return self.path / "manifests"

    @property
    def relations(self) -> Path:
        """Where the rows that differ lie."""
        return self.path / "relations"

    @property
    def digests(self) -> Path:
        """Where the digests of files' content lie, a file for each tree and algorithm."""
        return self.path / "digests"

    @property
    def staging(self) -> Path:
        """Where an audit writes before it is recorded."""
        return self.path / "staging"

    @property
    def pages(self) -> Path:
        """Where pages lie."""
        return self.path / "pages"

    @property
    def summaries(self) -> Path:
        """Where the weekly pages lie, with their index."""
        return self.path / "summaries"

    @property
    def dump(self) -> Path:
        """Where the owner may put a copy of the database, made by its own means."""
        return self.path / "dump"

    def prepare(self) -> None:
        """Make what is missing, for the owner alone; raises LedgerError where nothing can be written."""
        with speaking_of(self.path):
            if not self.path.exists():
                self.path.mkdir(mode=0o700, parents=True)
            for folder in (self.manifests, self.relations, self.digests, self.pages, self.summaries, self.staging):
                folder.mkdir(mode=0o700, exist_ok=True)
            if not os.access(self.path, os.W_OK):
                sealed = os.statvfs(self.path).f_flag & os.ST_RDONLY
                raise OSError(errno.EROFS if sealed else errno.EACCES, "")

    def stage(self, started: datetime) -> Path:
        """Return a new folder for the files of the audit that began at `started`."""
        with speaking_of(self.path):
            folder = self.staging / f"{stamp(started)}-{secrets.token_hex(4)}"
            folder.mkdir(mode=0o700)
            return folder

    def seed(self) -> bytes:
        """Return the seed of the keys of paths; made once, then never changed. Raises LedgerError."""
        file = self.path / "seed"
        with speaking_of(self.path):
            if not file.exists():
                write_whole(file, secrets.token_bytes(SEED_BYTES))
            seed = file.read_bytes()
        if len(seed) != SEED_BYTES:
            raise LedgerError(f"{file} is damaged ({len(seed)} bytes, not {SEED_BYTES}): put back a copy of it")
        return seed


def seed_digest(seed: bytes) -> str:
    """Return what the ledger remembers of a seed: enough to know it again."""
    return hashlib.sha256(seed).hexdigest()


def stamp(instant: datetime) -> str:
    """Write an instant as part of a file name."""
    return instant.astimezone(UTC).strftime("%Y%m%dT%H%M%S.%fZ")


def write_whole(file: Path, content: bytes) -> None:
    """Write a file that is there whole or not at all, readable by the owner alone."""
    part = file.with_name(f"{file.name}.{secrets.token_hex(4)}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(descriptor)
        part.rename(file)
    finally:
        part.unlink(missing_ok=True)
    bring_to_disk(file.parent)


def clear(folder: Path) -> None:
    """Remove all that lies in a folder; what cannot be removed now (a killed audit's helper may still write) stays."""
    for entry in folder.iterdir():
        if entry.is_dir() and not entry.is_symlink():
            shutil.rmtree(entry, ignore_errors=True)
        else:
            entry.unlink(missing_ok=True)


_SAID = {
    errno.ENOSPC: "its disk is full: make room, nothing that was recorded is lost",
    errno.EDQUOT: "its disk quota is used up: make room, nothing that was recorded is lost",
    errno.EROFS: "it is on a read-only filesystem",
    errno.EACCES: "this account may not write there",
    errno.EPERM: "this account may not write there",
    errno.ENOTDIR: "it is not a folder",
    errno.EEXIST: "it, or a part of it, is not a folder",
}


@contextmanager
def speaking_of(state: Path) -> Iterator[None]:
    """Turn an OSError on the state folder into a LedgerError that a person can act on."""
    try:
        yield
    except OSError as error:
        said = _SAID.get(error.errno or 0, error.strerror or str(error))
        raise LedgerError(f"the state folder {state} cannot be used: {said}") from error
