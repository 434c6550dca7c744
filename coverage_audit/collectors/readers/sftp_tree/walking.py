"""A tree over SFTP: folder by folder, several at a time, and the proof at its end."""

from __future__ import annotations

import stat
from collections.abc import Callable
from functools import partial
from typing import Final

from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers.sftp_tree.folders import Folder, Names
from coverage_audit.collectors.readers.sftp_tree.names import WHY, mode_of, no_folder, real_path_in
from coverage_audit.collectors.readers.sftp_tree.packets import STATVFS, Answer, Attributes, Code, Kind
from coverage_audit.collectors.readers.sftp_tree.paths import below, entered, is_too_deep, shown, start_of
from coverage_audit.collectors.readers.sftp_tree.session import Session
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM, REPLACED, AddRows, Walked
from coverage_audit.evidence.batches.sftp_rows import SftpRows
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind

_AT_ONCE: Final = 16  # folders open at a time: a server has a bounded number of handles
_BATCH: Final = 8192
LACKS: Final = frozenset({"ctime", "links", "blocks"})
PRECISION_NS: Final = 10**9
_TOO_DEEP: Final = "it lies too deep to be asked for over SFTP"
_BORDERS_UNKNOWN: Final = "sftp (other filesystems below the root are not told apart)"


def walk_over_sftp(packets: Packets, root: str, add: AddRows, progress: Callable[[int], None]) -> Walked:
    """Walk the tree below the absolute `root` and return the proof.

    Raises TransportError: MISSING, UNREADABLE, CUT (also where the root holds another number of names at the end),
    TIME_LIMIT, MALFORMED.
    """
    session = Session(packets)
    before = real_path_in(session, root)
    walk = _Walk(session, root, add, progress)
    walk.run()
    if real_path_in(session, root) != before:
        raise TransportError(GapKind.CUT, f"another folder took the place of {shown(root)} meanwhile")
    again: list[int] = []
    ended: list[int] = []
    Folder(session, start_of(root), lambda names: again.append(len(names)), ended.append)
    session.run()
    if ended != [Code.EOF] or sum(again) != walk.names_in_root:
        raise TransportError(
            GapKind.CUT,
            f"{shown(root)} holds {sum(again)} names at the end of the walk, {walk.names_in_root} at its begin",
        )
    return Walked(
        how="sftp" if walk.knows_borders else _BORDERS_UNKNOWN,
        entries=walk.entries,
        blind=tuple(walk.blind.values()),
        vanished=walk.vanished,
        precision_ns=PRECISION_NS,
        lacks=LACKS,
        real_root=before,
    )


class _Walk:
    def __init__(self, session: Session, root: str, add: AddRows, progress: Callable[[int], None]) -> None:
        self._session = session
        self._root = root
        self._add = add
        self._progress = progress
        self._rows = SftpRows()
        self._folders: list[bytes] = [b""]
        self._open = 0
        self._filesystem: int | None = None
        self.blind: dict[bytes, Blind] = {}
        self.entries = 0
        self.vanished = 0
        self.names_in_root = 0

    @property
    def knows_borders(self) -> bool:
        return self._filesystem is not None

    def run(self) -> None:
        if STATVFS in self._session.extensions:
            answer = self._session.answer_to(Kind.EXTENDED, STATVFS, start_of(self._root))
            self._filesystem = answer.room().filesystem if answer.code() is None else None
        self._open_more()
        self._session.run()
        if self._folders or self._open:
            raise TransportError(GapKind.CUT, f"the listing ended in the middle, after {self.entries} entries")
        self._flush()

    def _open_more(self) -> None:
        while self._folders and self._open < _AT_ONCE:
            path = self._folders.pop()
            self._open += 1
            if path and self._filesystem is not None:
                self._session.ask(partial(self._asked_where, path), Kind.EXTENDED, STATVFS, below(self._root, path))
            else:
                self._read(path)

    def _asked_where(self, path: bytes, answer: Answer) -> None:
        if answer.code() is None and answer.room().filesystem != self._filesystem:
            self._blind(path, ANOTHER_FILESYSTEM)
            self._done()
        else:
            self._read(path)

    def _read(self, path: bytes) -> None:
        place = entered(self._root, path)
        if path and is_too_deep(place):
            self._blind(path, _TOO_DEEP)
            self._done()
            return
        Folder(self._session, place, partial(self._take, path), partial(self._ended, path))

    def _take(self, folder: bytes, names: Names) -> None:
        prefix = folder + b"/" if folder else b""
        if not folder:
            self.names_in_root += len(names)
        for name, attributes in names:
            path = prefix + name
            mode = mode_of(attributes.mode)
            if stat.S_ISLNK(mode):
                then = partial(self._target, path, attributes)
                self._session.ask(then, Kind.READLINK, below(self._root, path))
                continue
            if stat.S_ISDIR(mode):
                self._folders.append(path)
            self._row(path, attributes, None)

    def _target(self, path: bytes, attributes: Attributes, answer: Answer) -> None:
        code = answer.code()
        if code is None:
            self._row(path, attributes, answer.names()[0][0])
        elif code == Code.NO_SUCH_FILE:
            self.vanished += 1
        else:
            self._blind(path, f"where this link leads could not be read ({_why(code)})")

    def _row(self, path: bytes, attributes: Attributes, target: bytes | None) -> None:
        if attributes.size is None or attributes.mtime is None:
            raise TransportError(GapKind.MALFORMED, "the box does not say sizes and times over SFTP")
        self._rows.add(path, mode_of(attributes.mode), attributes.size, attributes.mtime, target)
        self.entries += 1
        if len(self._rows) >= _BATCH:
            self._flush()

    def _flush(self) -> None:
        if len(self._rows):
            self._add(self._rows.batch())
            self._rows = SftpRows()
            self._progress(self.entries)

    def _ended(self, path: bytes, code: int) -> None:
        if code != Code.EOF:
            if not path:
                raise no_folder(self._root, code)
            if code == Code.NO_SUCH_FILE:  # so is said of what is there and is no folder any more
                self._session.ask(partial(self._looked_again, path), Kind.LSTAT, below(self._root, path))
            else:
                self._blind(path, _why(code))
        self._done()

    def _looked_again(self, path: bytes, answer: Answer) -> None:
        if answer.code() == Code.NO_SUCH_FILE:
            self.vanished += 1
        else:
            self._blind(path, REPLACED)

    def _done(self) -> None:
        self._open -= 1
        self._open_more()

    def _blind(self, path: bytes, why: str) -> None:
        self.blind[path] = Blind(path=path, why=why)


def _why(code: int) -> str:
    return WHY.get(code, f"SFTP status {code}")
