"""The walk as a whole: the root opened once for all walkers, stretches handed out, rows put in order, the proof."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from coverage_audit.collectors.local_walk.messages import NUMBERS
from coverage_audit.collectors.mount_borders import mounted_below, outermost
from coverage_audit.collectors.readers.scan_tree.pool import Pool
from coverage_audit.collectors.readers.scan_tree.sequence import Sequence
from coverage_audit.collectors.real_places import real_path_of
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import ANOTHER_FILESYSTEM, AddRows, Walked
from coverage_audit.evidence.batches.scanned import scanned_rows
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.visible import visible

_ENOUGH: Final = 32_768  # rows of a stretch after which a walker hands back the rest of it
_ENOUGH_AT_FIRST: Final = 512  # so that the others have work soon
_AHEAD: Final = 3  # requests that a walker has at a time: it never waits for the next


def scan(
    root: str, add: AddRows, *, walkers: int, deadline: float, progress: Callable[[int], None] | None = None
) -> Walked:
    """Walk the tree below the absolute `root`, hand its rows to `add` in tree order, return the proof.

    `deadline` is on time.monotonic(); `progress` is told how many entries were handed over. Raises TransportError:
    MISSING (no such folder), UNREADABLE, TIME_LIMIT, CUT (a walker died, the root was replaced), MALFORMED.
    """
    with _opened(root) as descriptor:
        before = _mounted(descriptor)
        with Pool(descriptor, before, walkers, deadline) as pool:
            walk = _Walk(pool, add, progress or _untold)
            walk.run()
            pool.farewell()
        _require_same(root, descriptor)
        real_root = real_path_of(descriptor)
        for border in outermost(_mounted(descriptor) - before):
            walk.blind[border] = ANOTHER_FILESYSTEM
    blind = tuple(Blind(path=path, why=why) for path, why in walk.blind.items())
    if b"" in walk.blind:
        raise TransportError(GapKind.UNREADABLE, f"{visible(root)}: {walk.blind[b'']}")
    return Walked(how="scandir", entries=walk.entries, blind=blind, vanished=walk.vanished, real_root=real_root)


class _Walk:
    def __init__(self, pool: Pool, add: AddRows, progress: Callable[[int], None]) -> None:
        self._pool = pool
        self._add = add
        self._progress = progress
        self._sequence = Sequence()
        self.blind: dict[bytes, str] = {}
        self.entries = 0
        self.vanished = 0

    def run(self) -> None:
        first = self._pool.idle(1)
        if first is not None:
            self._pool.ask(first, 0, None, _ENOUGH_AT_FIRST)
        while not self._sequence.is_told:
            for message in self._pool.hear():
                self._take(message)
            self._hand_out()
            for block in self._sequence.ready():
                self._tell(block)

    def _take(self, message: Any) -> None:
        match message:
            case ("rows", number, count, paths, numbers, targets):
                self._sequence.take(number, count, (count, paths, numbers, targets))
            case ("blind", path, why):
                self.blind[path] = why
            case ("done", number, rows, vanished, left):
                self._sequence.end(number, rows, left)
                self.vanished += vanished
            case _:
                raise TransportError(GapKind.MALFORMED, "a walker said something that is not understood")

    def _hand_out(self) -> None:
        while (hand := self._pool.idle(_AHEAD)) is not None:
            following = self._sequence.next_stretch()
            if following is None:
                return
            self._pool.ask(hand, *following, _ENOUGH)

    def _tell(self, block: tuple[int, bytes, bytes, list[bytes]]) -> None:
        count, paths, numbers, targets = block
        rows = scanned_rows(paths, numbers, NUMBERS, targets)
        if len(rows) != count:
            raise TransportError(GapKind.MALFORMED, f"a walker told {count} rows and {len(rows)} came")
        self._add(rows)
        self.entries += count
        self._progress(self.entries)


def _untold(_entries: int) -> None:
    pass


@contextmanager
def _opened(root: str) -> Iterator[int]:
    try:
        descriptor = os.open(_inside(root), os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except FileNotFoundError as error:
        raise TransportError(GapKind.MISSING, f"there is no {visible(root)}") from error
    except NotADirectoryError as error:
        raise TransportError(GapKind.MISSING, f"{visible(root)} is no folder") from error
    except OSError as error:
        raise TransportError(GapKind.UNREADABLE, f"{visible(root)}: {error.strerror}") from error
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def _inside(root: str) -> bytes:
    return os.fsencode(root).rstrip(b"/") + b"/."


def _mounted(descriptor: int) -> frozenset[bytes]:
    return mounted_below(real_path_of(descriptor), Path("/proc/self/mountinfo").read_bytes())


def _require_same(root: str, descriptor: int) -> None:
    walked = os.fstat(descriptor)
    try:
        now = os.stat(_inside(root))  # noqa: PTH116 - pathlib knows no bytes
    except OSError as error:
        raise TransportError(GapKind.CUT, f"{visible(root)} went away while it was walked") from error
    if (walked.st_dev, walked.st_ino) != (now.st_dev, now.st_ino):
        raise TransportError(GapKind.CUT, f"another folder took the place of {visible(root)} while it was walked")
