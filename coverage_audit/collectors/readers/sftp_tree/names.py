"""The names in one folder, over SFTP."""

from __future__ import annotations

import stat
from collections.abc import Callable
from dataclasses import dataclass

from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers.sftp_tree.folders import Folder, Names
from coverage_audit.collectors.readers.sftp_tree.packets import Code, Kind
from coverage_audit.collectors.readers.sftp_tree.paths import shown, start_of
from coverage_audit.collectors.readers.sftp_tree.session import Session
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

WHY = {
    int(Code.NO_SUCH_FILE): "No such file or directory",
    int(Code.PERMISSION_DENIED): "Permission denied",
}


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One name: whether it is a folder or a regular file (a link is neither), its size in bytes."""

    name: bytes
    is_folder: bool
    is_file: bool
    size: int


def listed_names(packets: Packets, folder: str) -> tuple[Entry, ...]:
    """List the folder at an absolute path.

    Raises TransportError: MISSING, UNREADABLE, or MALFORMED where the box does not say what is a folder.
    """
    found: list[Entry] = []
    _read(packets, folder, lambda names: found.extend(_entries(names)))
    return tuple(found)


def real_path_in(session: Session, path: str) -> bytes:
    """Return where the folder at an absolute `path` lies without links; empty where the box does not say it."""
    answer = session.answer_to(Kind.REALPATH, start_of(path))
    return answer.names()[0][0] if answer.code() is None else b""


def no_folder(root: str, code: int) -> TransportError:
    """Return the error for a folder that could not be read."""
    kind = GapKind.MISSING if code == Code.NO_SUCH_FILE else GapKind.UNREADABLE
    return TransportError(kind, f"{shown(root)}: {WHY.get(code, f'it cannot be read (SFTP status {code})')}")


def _entries(names: Names) -> list[Entry]:
    return [
        Entry(
            name=name,
            is_folder=stat.S_ISDIR(mode_of(attributes.mode)),
            is_file=stat.S_ISREG(mode_of(attributes.mode)),
            size=attributes.size or 0,
        )
        for name, attributes in names
    ]


def mode_of(mode: int | None) -> int:
    """Return a mode that says the kind. Raises TransportError where the box does not."""
    if mode is None or not stat.S_IFMT(mode):
        raise TransportError(GapKind.MALFORMED, "the box does not say over SFTP which entries are folders")
    return mode


def entered(packets: Packets, root: str) -> tuple[Session, bool]:
    """Read the folder `root` (absolute) to its end; return the session, and whether nothing is in that folder.

    Raises TransportError where it cannot be read.
    """
    counts: list[int] = []
    session = _read(packets, root, lambda names: counts.append(len(names)))
    return session, not sum(counts)


def _read(packets: Packets, folder: str, take: Callable[[Names], None]) -> Session:
    session = Session(packets)
    ended: list[int] = []
    Folder(session, start_of(folder), take, ended.append)
    session.run()
    if ended != [Code.EOF]:
        raise no_folder(folder, ended[0] if ended else Code.FAILURE)
    return session
