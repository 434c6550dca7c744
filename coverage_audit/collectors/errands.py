"""What passes between the auditor and its worker processes: an errand goes in, words come back.

Frozen values over a private pipe between two processes of one program; nothing of it is stored or comes from a box.
"""

from __future__ import annotations

import os
import pickle
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device, VolumeKey
from coverage_audit.evidence.collected import Question, SecondLook, SeenPoints, SeenTree
from coverage_audit.evidence.content import Wanted
from coverage_audit.evidence.drilling import FileBack
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, VolumeFacts

_HEAD: Final = 8  # bytes of a word's length, before it


@dataclass(frozen=True, kw_only=True)
class AuditorClock:
    """The auditor's clock, read once and carried on by the monotonic one, which all processes share.

    A step of the wall clock in the middle of an audit moves nothing that this clock says.
    """

    read: datetime
    monotonic: float

    def now(self) -> datetime:
        """Return the present instant."""
        return self.read + timedelta(seconds=time.monotonic() - self.monotonic)


@dataclass(frozen=True, kw_only=True)
class Walk:
    """An errand: answer one question. `deadline` is on time.monotonic(); `memory` is bytes for sorting."""

    question: Question
    limits: Limits
    staging: Path
    seed: bytes
    clock: AuditorClock
    deadline: float
    memory: int


@dataclass(frozen=True, kw_only=True)
class LookAgain:
    """An errand: look once more at named paths below `root`."""

    device: Device
    root: str
    paths: tuple[bytes, ...]
    limits: Limits
    deadline: float


@dataclass(frozen=True, kw_only=True)
class HashFiles:
    """An errand: read the content of named files below `root`, for `budget` seconds, `rate` bytes a second.

    `files` are (path, size, mtime in ns).
    """

    device: Device
    root: str
    files: tuple[tuple[bytes, int, int], ...]
    algorithm: str
    budget: float
    rate: int
    limits: Limits


@dataclass(frozen=True, kw_only=True)
class AskDigests:
    """An errand: find out which digests can be had of a device's files."""

    device: Device
    limits: Limits


@dataclass(frozen=True, kw_only=True)
class ReadBack:
    """An errand: read named files below `root` back onto the scratch disk, and digest what it holds of them."""

    device: Device
    root: str
    wanted: tuple[Wanted, ...]
    algorithms: tuple[str, ...]
    scratch: Path
    limits: Limits
    deadline: float


Errand = Walk | LookAgain | HashFiles | AskDigests | ReadBack


@dataclass(frozen=True, kw_only=True)
class Counted:
    """So many entries were seen of `subject` so far."""

    subject: str
    entries: int


@dataclass(frozen=True, kw_only=True)
class SeenDevice:
    """The device's facts, or why there are none."""

    outcome: DeviceFacts | Gap


@dataclass(frozen=True, kw_only=True)
class SeenVolume:
    """A volume's facts, or why there are none."""

    volume: VolumeKey
    outcome: VolumeFacts | Gap


@dataclass(frozen=True, kw_only=True)
class Looked:
    """The outcome of a second look."""

    looks: tuple[SecondLook, ...]


@dataclass(frozen=True, kw_only=True)
class Hashed:
    """What came of files, by their number in the errand: (number, ctime in ns, digest) and (number, why not).

    `seconds` is what all of it took so far, `bytes` what was read since the last word.
    """

    files: tuple[tuple[int, int | None, bytes], ...]
    without: tuple[tuple[int, str], ...]
    seconds: float
    bytes: int


@dataclass(frozen=True, kw_only=True)
class CanDigest:
    """The algorithms of which digests can be had, the best first."""

    algorithms: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Back:
    """What came of one file; `read` bytes in `seconds` is what all took so far, `way` how they come."""

    file: FileBack
    read: int
    seconds: float
    way: str


@dataclass(frozen=True, kw_only=True)
class Ended:
    """The last word of a worker; with a reason where it could not go on (which then holds for all that lacks)."""

    kind: GapKind | None = None
    detail: str = ""

    def gap(self, subject: str, at: datetime) -> Gap | None:
        """Return the reason as a gap (None: it came to its end)."""
        return None if self.kind is None else Gap(subject=subject, kind=self.kind, detail=self.detail, at=at)


Word = Counted | SeenDevice | SeenVolume | SeenTree | SeenPoints | Looked | Hashed | CanDigest | Back | Ended


def packed(value: Word | Errand) -> bytes:
    """Return a value as it travels: its length, then itself."""
    body = pickle.dumps(value)
    return len(body).to_bytes(_HEAD, "big") + body


class Inbox:
    """Puts what came through a pipe together again; a word that was cut is never given out."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def take(self, piece: bytes) -> Iterator[Word | Errand]:
        """Take what was read and give the values that are whole by now."""
        self._bytes += piece
        while len(self._bytes) >= _HEAD:
            end = _HEAD + int.from_bytes(self._bytes[:_HEAD], "big")
            if len(self._bytes) < end:
                return
            body = bytes(self._bytes[_HEAD:end])
            del self._bytes[:end]
            yield pickle.loads(body)  # noqa: S301 - written by this program's own other process a moment ago


def send(pipe: int, value: Word | Errand) -> None:
    """Write a value into a pipe, whole. Raises OSError when nobody reads any more."""
    view = memoryview(packed(value))
    while view:
        view = view[os.write(pipe, view) :]
