"""A second look at named paths over SFTP: sizes and whole seconds, or that they are gone."""

from __future__ import annotations

import stat
from collections.abc import Sequence
from functools import partial

from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers.sftp_tree.names import entered
from coverage_audit.collectors.readers.sftp_tree.packets import Answer, Code, Kind
from coverage_audit.collectors.readers.sftp_tree.paths import below, shown
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.instants import SECOND_NS


def look_over_sftp(packets: Packets, root: str, paths: Sequence[bytes]) -> tuple[SecondLook, ...]:
    """Look at every path below `root` (absolute), in their order; what the box does not let see is left out.

    Raises TransportError where the root cannot be read, or is empty now and paths are gone: then its volume is gone.
    """
    session, is_empty = entered(packets, root)
    looks: dict[bytes, SecondLook] = {}
    for path in paths:
        session.ask(partial(_seen, looks, path), Kind.LSTAT, below(root, path))
    session.run()
    if is_empty and any(look.mtime_ns is None for look in looks.values()):
        raise TransportError(GapKind.NOT_MOUNTED, f"{shown(root)}: it is empty now")
    return tuple(looks[path] for path in paths if path in looks)


def _seen(looks: dict[bytes, SecondLook], path: bytes, answer: Answer) -> None:
    code = answer.code()
    if code == Code.NO_SUCH_FILE:
        looks[path] = SecondLook(path=path, size=None, mtime_ns=None, ctime_ns=None, birth_ns=None)
    elif code is None:
        seen = answer.attributes()
        size = 0 if seen.mode is not None and stat.S_ISDIR(seen.mode) else seen.size
        mtime = None if seen.mtime is None else seen.mtime * SECOND_NS
        if size is not None and mtime is not None:
            looks[path] = SecondLook(path=path, size=size, mtime_ns=mtime, ctime_ns=None, birth_ns=None)
