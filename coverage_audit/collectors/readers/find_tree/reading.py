"""Reading what the gate prints, piece by piece, and the proof at its end."""

from __future__ import annotations

from typing import Final

from coverage_audit.collectors.framing import refusal
from coverage_audit.collectors.readers.find_tree.complaints import complaints
from coverage_audit.collectors.readers.find_tree.rootless import why_no_root
from coverage_audit.collectors.readers.find_tree.script import START, Markers, shown_root
from coverage_audit.collectors.rooted_rows import RootedRows
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM, AddRows, Walked
from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches.printed import is_printed_record, printed_records
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.visible import visible

_BLOCK: Final = 4 << 20
_MOST_BEFORE: Final = 16 << 20  # what start files print, and the mount table


class FindReader:
    """Fed with the pieces of standard output; rows go to `add` as they come, `end` says whether they are all.

    Rows handed to `add` prove nothing before `end` has returned: on any error the manifest is abandoned.
    """

    def __init__(self, root: str, nonce: str, add: AddRows) -> None:
        self._root = root
        self._nonce = nonce
        self._markers = Markers(nonce)
        self._rows = RootedRows(shown_root(root), add)
        self._waiting = bytearray()
        self._real_root: bytes | None = None  # known once the head has come
        self._identity = b""  # device and inode number of the root before the walk
        self._records_ended = False

    @property
    def entries(self) -> int:
        """How many rows were handed on so far."""
        return self._rows.entries

    def feed(self, piece: bytes) -> None:
        """Take the next piece. Raises TransportError (NO_SHELL, NO_TOOL, MALFORMED) where it is no listing."""
        self._waiting += piece
        if self._records_ended or (self._real_root is None and not self._take_head()):
            return
        end = self._waiting.find(self._markers.middle)
        if end >= 0:
            self._records_ended = True
            self._take_records(end)
        elif len(self._waiting) >= _BLOCK:
            self._take_records(_end_of_whole_records(self._waiting))

    def end(self, exit_status: int | None, stderr: bytes, stderr_dropped: int) -> Walked:
        """Return what the listing proves. Raises TransportError wherever the proof has a hole."""
        refused = refusal(bytes(self._waiting), exit_status, self._nonce)
        if refused is not None:
            raise refused
        status = self._proven_status(exit_status)
        said = stderr.rpartition(self._markers.complaints)[2]
        if not self._rows.has_root:
            raise why_no_root(status, said, self._root)
        if stderr_dropped:
            raise TransportError(GapKind.UNREADABLE, "find complained of more places than can be kept")
        understood = complaints(said, START)
        if status != (1 if understood.blind or understood.gone else 0):
            raise TransportError(GapKind.MALFORMED, f"find ended with status {status}, its complaints say otherwise")
        blind = {place.path: place for place in understood.blind}
        if b"" in blind:
            raise TransportError(GapKind.UNREADABLE, f"{shown_root(self._root)}: {blind[b''].why}")
        for border in self._rows.borders:
            blind[border] = Blind(path=border, why=ANOTHER_FILESYSTEM)
        return Walked(
            how="gnu find",
            entries=self.entries,
            blind=tuple(blind.values()),
            vanished=len(understood.gone),
            real_root=self._real_root or b"",
        )

    def _take_head(self) -> bool:
        _noise, found, rest = self._waiting.partition(self._markers.begin)
        parts = rest.split(b"\0", 4) if found else []
        if len(parts) == 5:
            _mode, real_root, identity, mounts, records = parts
            self._real_root = bytes(real_root.removesuffix(b"\n"))
            self._identity = bytes(identity)
            self._rows.take_mounts(self._real_root, bytes(mounts))
            self._waiting = bytearray(records)
            return True
        if len(self._waiting) > _MOST_BEFORE:
            raise TransportError(GapKind.NO_SHELL, "the box prints without end and does not run what it is asked to")
        return False

    def _take_records(self, end: int) -> None:
        block = bytes(self._waiting[:end])
        del self._waiting[:end]
        if not block:
            return
        try:
            printed = printed_records(block)
        except EvidenceError as error:
            raise self._unlike_find(block, error) from error
        self._rows.take(printed)

    def _unlike_find(self, block: bytes, error: EvidenceError) -> TransportError:
        first = b"".join(field + b"\0" for field in block.split(b"\0", 2)[:2])
        if not self._rows.has_root and not is_printed_record(first):
            return TransportError(GapKind.NO_TOOL, "the box has a find that is not GNU find (findutils is wanted)")
        return TransportError(GapKind.MALFORMED, f"{error} (after {self.entries} entries)")

    def _proven_status(self, exit_status: int | None) -> int:
        if self._real_root is None and exit_status is not None:
            noise = visible(bytes(self._waiting[:120]))
            raise TransportError(GapKind.NO_SHELL, f"status {exit_status}, and no answer but {noise!r}")
        if exit_status is None or not self._records_ended:
            raise TransportError(GapKind.CUT, f"the listing ended in the middle, after {self.entries} entries")
        parts = bytes(self._waiting).split(b"\0", 3)
        if parts[0] != self._markers.middle or parts[3:] != [b"%s %d\0" % (self._markers.end, exit_status)]:
            raise TransportError(GapKind.CUT, f"the listing has no end that agrees with status {exit_status}")
        if parts[1] != self._identity:
            raise TransportError(GapKind.CUT, f"another folder took the place of {shown_root(self._root)} meanwhile")
        self._rows.take_mounts(self._real_root or b"", parts[2])
        return exit_status


def _end_of_whole_records(waiting: bytearray) -> int:
    nuls = waiting.count(b"\0")
    if not nuls:
        raise TransportError(GapKind.MALFORMED, "the listing holds a record without end")
    last = waiting.rfind(b"\0")
    return 1 + (waiting.rfind(b"\0", 0, last) if nuls % 2 else last)
