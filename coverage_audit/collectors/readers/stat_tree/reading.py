"""Reading what the box prints, piece by piece, and the proof at its end."""

from __future__ import annotations

from collections.abc import Generator
from typing import Final

from coverage_audit.collectors.framing import MODES, beginning, refusal
from coverage_audit.collectors.readers.stat_tree.batch import Batch, batch_of_fields
from coverage_audit.collectors.readers.stat_tree.complaints import Complaints, complaints
from coverage_audit.collectors.readers.stat_tree.rootless import why_no_root
from coverage_audit.collectors.rooted_rows import RootedRows
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM, AddRows, Walked
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.visible import visible

_MOST_WAITING: Final = 64 << 20  # bytes; a batch is no longer than a command line, some heads of 150 bytes each apart
_REFUSAL: Final = 4096  # bytes at the end of an answer, in which a refusal would stand
_MOST_BEFORE: Final = 16 << 20  # what start files print


class StatReader:
    """Fed with the pieces of standard output; rows go to `add` as they come, `end` says whether they are all.

    Rows handed to `add` prove nothing before `end` has returned: on any error the manifest is abandoned.
    """

    def __init__(self, root: str, nonce: str, add: AddRows, *, precision_ns: int) -> None:
        self._root = visible(root.rstrip("/")) or "/"
        self._nonce = nonce
        self._rows = RootedRows(self._root, add)
        self._precision_ns = precision_ns
        self._waiting = bytearray()
        self._last = b""
        self._begun = False
        self._real_root = b""
        self._whole = False
        self._status: int | None = None
        self._blind: list[Blind] = []
        self._unseen = 0
        self._fields = self._answer()
        next(self._fields)

    @property
    def entries(self) -> int:
        """How many rows were handed on so far."""
        return self._rows.entries

    def feed(self, piece: bytes) -> None:
        """Take the next piece. Raises TransportError (NO_SHELL, MALFORMED, CUT) where it is no listing."""
        self._waiting += piece
        self._last = (self._last + piece)[-_REFUSAL:]
        if b"\0" in piece:
            *fields, rest = bytes(self._waiting).split(b"\0")
            self._waiting = bytearray(rest)
            for field in fields:
                self._fields.send(field)
        if len(self._waiting) > (_MOST_WAITING if self._begun else _MOST_BEFORE):
            if not self._begun:
                raise TransportError(
                    GapKind.NO_SHELL, "the box prints without end and does not run what it is asked to"
                )
            raise TransportError(GapKind.MALFORMED, "the listing holds a batch without end")

    def end(self, exit_status: int | None, stderr: bytes, stderr_dropped: int) -> Walked:
        """Return what the listing proves. Raises TransportError wherever the proof has a hole (or REFUSED)."""
        refused = refusal(bytes(self._last), exit_status, self._nonce)
        if refused is not None:
            raise refused
        status = self._proven_status(exit_status)
        said = stderr.rpartition(f"B {self._nonce}\n".encode("ascii"))[2]
        if not self._rows.has_root:
            raise why_no_root(status, said, self._root)
        if stderr_dropped:
            raise TransportError(GapKind.UNREADABLE, "find and stat complained of more places than can be kept")
        understood = complaints(said)
        self._agree(status, understood)
        blind = {place.path: place for place in (*self._blind, *understood.blind)}
        if b"" in blind:
            raise TransportError(GapKind.UNREADABLE, f"{self._root}: {blind[b''].why}")
        for border in self._rows.borders:
            blind[border] = Blind(path=border, why=ANOTHER_FILESYSTEM)
        return Walked(
            how="find and stat",
            entries=self.entries,
            blind=tuple(blind.values()),
            vanished=understood.gone,
            precision_ns=self._precision_ns,
            real_root=self._real_root,
        )

    def _answer(self) -> Generator[None, bytes, None]:
        """Take the fields of the whole answer in their order."""
        begins = tuple(beginning(self._nonce) + mode for mode in MODES)
        while not (yield).endswith(begins):
            pass
        self._begun = True
        real_root = self._real_root = (yield).removesuffix(b"\n")
        identity = yield
        self._rows.take_mounts(real_root, (yield))
        while (lines := (yield)) != f"M {self._nonce}".encode("ascii"):
            counted = yield
            links: dict[bytes, bytes] = {}
            while path := (yield):
                links[path] = yield
            self._take(batch_of_fields(lines, counted, links))
        if (yield) != identity:
            raise TransportError(GapKind.CUT, f"another folder took the place of {self._root} meanwhile")
        self._rows.take_mounts(real_root, (yield))
        end, _, status = (yield).rpartition(b" ")
        self._whole = end == f"E {self._nonce}".encode("ascii")
        self._status = int(status) if status.isdigit() else None
        yield
        self._whole = False
        raise TransportError(GapKind.MALFORMED, "something follows the end of the listing")

    def _take(self, batch: Batch) -> None:
        self._unseen += batch.unseen
        self._blind += batch.blind
        if batch.printed is not None and len(batch.printed.batch):
            self._rows.take(batch.printed)

    def _proven_status(self, exit_status: int | None) -> int:
        if not self._begun and exit_status is not None:
            noise = visible(bytes(self._waiting[:120]))
            raise TransportError(GapKind.NO_SHELL, f"status {exit_status}, and no answer but {noise!r}")
        if exit_status is None or self._waiting or not self._whole or self._status != exit_status:
            raise TransportError(
                GapKind.CUT,
                f"the listing ended in the middle or disagrees with status {exit_status}, after {self.entries} entries",
            )
        return exit_status

    def _agree(self, status: int, understood: Complaints) -> None:
        if understood.by_stat != self._unseen:
            raise TransportError(
                GapKind.CUT, f"{self._unseen} paths have no record, and stat complained of {understood.by_stat}"
            )
        if status != (1 if understood.by_find else 0):
            raise TransportError(GapKind.MALFORMED, f"find ended with status {status}, its complaints say otherwise")
