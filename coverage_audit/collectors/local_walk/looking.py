"""Looking into one folder: opening it without following a link, its names, the facts of each."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable
from operator import attrgetter
from typing import Final

from coverage_audit.collectors.local_walk.messages import Facts, Opens
from coverage_audit.collectors.real_places import real_path_of

REPLACED: Final = "it was replaced while it was being read"
BORDER: Final = "another filesystem is mounted here"

_FACTS = attrgetter("st_mode", "st_size", "st_mtime_ns", "st_ctime_ns", "st_blocks", "st_nlink")
_FLAGS: Final = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC
_NO_FOLDER: Final = {errno.ENOTDIR, errno.ELOOP}  # what O_NOFOLLOW and O_DIRECTORY say of anything else
_LONGEST: Final = 4000  # bytes of a path that the kernel takes in one piece (PATH_MAX is 4096 with its end)

_TYPE: Final = 0o170000


class Sight:
    """Looks into folders of the tree below `root`, a descriptor; the folder looked into becomes the current one.

    `blind(path, why)` is told each place that could not be looked into.
    """

    def __init__(self, root: int, borders: frozenset[bytes], blind: Callable[[bytes, str], None]) -> None:
        self._root = root
        own = os.fstat(root)
        self._device = own.st_dev
        self.root_inode = own.st_ino
        self._borders = borders
        self._blind = blind
        self.targets: dict[bytes, bytes] = {}
        self.vanished = 0

    def names(self, path: bytes, inode: int) -> list[bytes]:
        """Enter a folder and return its sorted names; none where it is blind or gone. `inode` is that listed before."""
        if not self.enter(path, inode):
            return []
        try:
            names = os.listdir(b".")  # noqa: PTH208 - pathlib knows no bytes
        except OSError as error:
            self._blind(path, _reason(error))
            return []
        names.sort()
        return names

    def enter(self, path: bytes, inode: int) -> bool:
        """Make a folder the current one; False where it cannot be, is gone or is another one (then it is said)."""
        try:
            descriptor = self._opened(path)
            try:
                here = os.fstat(descriptor)
                if (here.st_dev, here.st_ino) == (self._device, inode) or self._lies_at(descriptor, path):
                    os.fchdir(descriptor)
                    return True
            finally:
                os.close(descriptor)
        except FileNotFoundError:
            self.vanished += 1
        except OSError as error:
            self._blind(path, REPLACED if error.errno in _NO_FOLDER else _reason(error))
        else:
            self._blind(path, REPLACED)
        return False

    def look(self, path: bytes, names: list[bytes]) -> tuple[list[bytes], list[Facts], Opens]:
        """Return paths and facts of names in the current folder `path`, and the folders among them to open."""
        prefix = path + b"/" if path else b""
        try:
            seen = list(map(os.lstat, names))
        except OSError:
            names, seen = self._one_by_one(prefix, names)
        paths = [prefix + name for name in names]
        facts: list[Facts] = list(map(_FACTS, seen))
        special = [place for place, fact in enumerate(facts) if fact[0] & _TYPE != stat.S_IFREG]
        if self._borders:  # a file can be a mount point too
            special = sorted({*special, *(place for place, one in enumerate(paths) if one in self._borders)})
        opens: Opens = []
        dropped: set[int] = set()
        for place in special:
            mode = seen[place].st_mode
            if seen[place].st_dev != self._device or paths[place] in self._borders:
                self._blind(paths[place], BORDER)
            elif stat.S_ISDIR(mode):
                opens.append((place, seen[place].st_ino))
            if stat.S_ISLNK(mode) and not self._read_link(names[place], paths[place]):
                dropped.add(place)
        return self._without(dropped, paths, facts, opens) if dropped else (paths, facts, opens)

    def _read_link(self, name: bytes, path: bytes) -> bool:
        try:
            self.targets[path] = os.readlink(name)  # noqa: PTH115 - pathlib knows no bytes
        except FileNotFoundError:
            self.vanished += 1
            return False
        except OSError as error:
            self._blind(path, REPLACED if error.errno == errno.EINVAL else _reason(error))
            return False
        return True

    def _one_by_one(self, prefix: bytes, names: list[bytes]) -> tuple[list[bytes], list[os.stat_result]]:
        kept: list[bytes] = []
        seen: list[os.stat_result] = []
        for name in names:
            try:
                one = os.lstat(name)
            except FileNotFoundError:
                self.vanished += 1
            except OSError as error:
                self._blind(prefix + name, _reason(error))
            else:
                kept.append(name)
                seen.append(one)
        return kept, seen

    @staticmethod
    def _without(
        dropped: set[int], paths: list[bytes], facts: list[Facts], opens: Opens
    ) -> tuple[list[bytes], list[Facts], Opens]:
        kept = [place for place in range(len(paths)) if place not in dropped]
        moved = {place: new for new, place in enumerate(kept)}
        still_open = [(moved[place], inode) for place, inode in opens]
        return [paths[place] for place in kept], [facts[place] for place in kept], still_open

    def _opened(self, path: bytes) -> int:
        if len(path) <= _LONGEST:
            return os.open(path or b".", _FLAGS, dir_fd=self._root)
        above, _slash, name = path.rpartition(b"/")
        parent = self._opened(above)
        try:
            return os.open(name, _FLAGS, dir_fd=parent)
        finally:
            os.close(parent)

    def _lies_at(self, descriptor: int, path: bytes) -> bool:
        """Whether the opened folder is the one of this path although its inode number differs.

        Some filesystems number anew what they forget; a link in the way would show in the folder's real path.
        """
        try:
            real, root = (real_path_of(number) for number in (descriptor, self._root))
        except OSError:
            return False
        return os.fstat(descriptor).st_dev == self._device and real == (root.rstrip(b"/") + b"/" + path).rstrip(b"/")


def _reason(error: OSError) -> str:
    return os.strerror(error.errno or errno.EIO)
