"""The rows of a listing below one root: the root comes first, and what lies beyond a border is left out."""

from __future__ import annotations

from coverage_audit.collectors.mount_borders import mounted_below, outermost
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import AddRows
from coverage_audit.evidence.batches.printed import Printed
from coverage_audit.evidence.facts import GapKind


class RootedRows:
    """Takes what was printed block by block and hands the rows on to `add`; `root` is as messages show it."""

    def __init__(self, root: str, add: AddRows) -> None:
        self._root = root
        self._add = add
        self._device: int | None = None  # known once the root's record has come
        self._borders: set[bytes] = set()
        self.entries = 0

    @property
    def has_root(self) -> bool:
        """Whether the root's own record has come."""
        return self._device is not None

    @property
    def borders(self) -> tuple[bytes, ...]:
        """The outermost folders where another filesystem begins, as far as they are known by now."""
        return tuple(outermost(self._borders))

    def take_mounts(self, real_root: bytes, table: bytes) -> None:
        """Take a mount table; an unknown `real_root` (empty) tells nothing."""
        if real_root:
            self._borders |= mounted_below(real_root, table)

    def take(self, printed: Printed) -> None:
        """Take the next rows. Raises TransportError where the first of all is not the root, or is no folder."""
        if self._device is None:
            path, kind = printed.first
            if path != b"":
                raise TransportError(GapKind.MALFORMED, "the listing does not begin with its root")
            if kind != "d":
                raise TransportError(GapKind.MISSING, f"{self._root} is no folder")
            self._device = int(printed.devices[0])
            printed = printed.without_first()
        self._borders.update(printed.elsewhere(self._device))
        rows = printed.outside(self.borders)
        self.entries += len(rows)
        self._add(rows)
