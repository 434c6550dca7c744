"""Walking a stretch of a tree depth first, telling its entries in tree order as it goes."""

from __future__ import annotations

from array import array
from collections.abc import Callable
from itertools import chain
from typing import Any, Final

from coverage_audit.collectors.local_walk.looking import Sight
from coverage_audit.collectors.local_walk.messages import Facts, Opens, Stretch

BATCH: Final = 8192
AT_ONCE: Final = 100_000  # names of one folder whose facts are held at a time
_LAST: Final = 2**63 - 1


class Folder:
    """A folder whose entries are being told: how far, and the names of it that were not looked at yet."""

    __slots__ = ("facts", "inode", "later", "opens", "path", "paths", "told", "turn")

    def __init__(self, path: bytes, inode: int, later: list[bytes]) -> None:
        self.path, self.inode, self.later = path, inode, later
        self.show([], [], [])

    def show(self, paths: list[bytes], facts: list[Facts], opens: Opens) -> None:
        """Hold these entries, none of them told."""
        self.paths, self.facts, self.opens = paths, facts, opens
        self.told = self.turn = 0


class Walker:
    """Walks stretches; `say` sends a message."""

    def __init__(self, root: int, borders: frozenset[bytes], say: Callable[[Any], None]) -> None:
        self._say = say
        self._sight = Sight(root, borders, lambda path, why: say(("blind", path, why)))
        self._number = 0
        self._paths: list[bytes] = []
        self._facts: list[Facts] = []
        self.rows = 0

    def walk(self, number: int, stretch: Stretch | None, enough: int) -> None:
        """Walk a stretch (None: the whole tree) until `enough` rows are told, and hand back what is left."""
        before = self.rows
        self._number, self._sight.vanished = number, 0
        stack = [self._opened(b"", self._sight.root_inode) if stretch is None else self._taken_up(stretch)]
        while stack and (self.rows - before < enough or any(folder.later for folder in stack)):
            self._step(stack)
        rest = self._rest(stack)
        self._flush()
        self._say(("done", number, self.rows - before, self._sight.vanished, rest))

    def _step(self, stack: list[Folder]) -> None:
        folder = stack[-1]
        if folder.turn < len(folder.opens):
            place, inode = folder.opens[folder.turn]
            folder.turn += 1
            self._tell(folder, place + 1)
            inner = self._opened(folder.paths[place], inode)
            if inner.opens or inner.later:
                stack.append(inner)
            else:
                self._tell(inner, len(inner.paths))
            return
        self._tell(folder, len(folder.paths))
        if not folder.later:
            stack.pop()
        elif self._sight.enter(folder.path, folder.inode):
            self._look_at_next(folder)
        else:
            folder.later = []

    def _taken_up(self, stretch: Stretch) -> Folder:
        folder = Folder(b"", 0, [])
        folder.show(*stretch[:3])
        self._sight.targets.update(stretch[3])
        return folder

    def _opened(self, path: bytes, inode: int) -> Folder:
        folder = Folder(path, inode, self._sight.names(path, inode))
        self._look_at_next(folder)
        return folder

    def _look_at_next(self, folder: Folder) -> None:
        names, folder.later = folder.later[:AT_ONCE], folder.later[AT_ONCE:]
        folder.show(*self._sight.look(folder.path, names))

    def _tell(self, folder: Folder, end: int) -> None:
        self._paths += folder.paths[folder.told : end]
        self._facts += folder.facts[folder.told : end]
        self.rows += end - folder.told
        folder.told = end
        if len(self._paths) >= BATCH:
            self._flush()

    def _flush(self) -> None:
        if not self._paths:
            return
        known = self._sight.targets
        targets = [known.pop(path) for path in self._paths if path in known] if known else []
        joined = b"\0".join(self._paths) + b"\0"
        self._say(("rows", self._number, len(self._paths), joined, _as_integers(self._facts), targets))
        self._paths.clear()
        self._facts.clear()

    def _rest(self, stack: list[Folder]) -> Stretch | None:
        paths: list[bytes] = []
        facts: list[Facts] = []
        opens: Opens = []
        for folder in reversed(stack):
            opens += [(place - folder.told + len(paths), inode) for place, inode in folder.opens[folder.turn :]]
            paths += folder.paths[folder.told :]
            facts += folder.facts[folder.told :]
        known = self._sight.targets
        targets = {path: known.pop(path) for path in paths if path in known} if known else {}
        return (paths, facts, opens, targets) if paths else None


def _as_integers(facts: list[Facts]) -> bytes:
    try:
        return array("q", chain.from_iterable(facts)).tobytes()
    except OverflowError:  # times before 1677 or after 2262
        return array("q", (max(-_LAST - 1, min(number, _LAST)) for number in chain.from_iterable(facts))).tobytes()
