"""The census, counted while rows go by."""

from __future__ import annotations

from typing import Any

import numpy as np

from coverage_audit.evidence.manifest import Census
from coverage_audit.evidence.store.columns import integers, octets_of, shown

STEPS_NS = (2_000_000_000, 1_000_000_000, 1_000_000, 1_000, 100)
"""What mtimes are kept in, coarsest first; 1 ns else. Two seconds are those of FAT, 100 ns those of NTFS."""

TWO_SECOND_TYPES = frozenset({"vfat", "msdos", "exfat"})
HOLLOW_FROM = 1 << 16  # bytes; below it what a file takes up says little
HOLLOW_SHARE = 8  # of the size: what takes up less than this part of it is hollow
BLOCK = 512

ENOUGH_FOR_TWO_SECONDS = 16  # sixteen even seconds by chance: 2**-16


def hollow_files(rows: Any, plain: Any) -> Any:
    """Return which rows are regular files (`plain`) that take up far less than their size."""
    sizes = integers(rows["size"])
    hollow = integers(rows["blocks"]) < -(-sizes // (HOLLOW_SHARE * BLOCK))
    return plain & (sizes >= HOLLOW_FROM) & shown(rows["blocks"]) & hollow


class Count:
    """Adds up rows; `odd_after_ns` is the last mtime that is plausible."""

    def __init__(self, odd_after_ns: int) -> None:
        self._odd_after = odd_after_ns
        self._entries = self._files = self._plain = self._bytes = self._odd = 0
        self._hollow = self._linked = self._digested = 0
        self._newest: dict[str, int | None] = {"mtime_ns": None, "ctime_ns": None}
        self._steps = list(STEPS_NS)

    def add(self, rows: Any) -> None:
        """Count the rows of a table or record batch."""
        kinds = np.frombuffer(octets_of(rows["kind"]), np.uint8)
        mtimes = integers(rows["mtime_ns"])
        plain = kinds == ord("f")
        self._entries += len(kinds)
        self._files += int((kinds != ord("d")).sum())
        self._plain += int(plain.sum())
        self._bytes += int(integers(rows["size"])[plain].sum())
        own = mtimes[plain]
        self._odd += int(((own < 0) | (own > self._odd_after)).sum())
        self._steps = [step for step in self._steps if not (own % step).any()]
        dated = plain | (kinds == ord("l"))
        self._keep_newest("mtime_ns", mtimes[dated])
        self._keep_newest("ctime_ns", integers(rows["ctime_ns"])[dated & shown(rows["ctime_ns"])])
        self._hollow += int(hollow_files(rows, plain).sum())
        self._linked += int((integers(rows["links"])[plain] > 1).sum())
        self._digested += int((shown(rows["digest"]) & plain).sum())

    def _keep_newest(self, name: str, times: Any) -> None:
        if len(times):
            before = self._newest[name]
            newest = int(times.max())
            self._newest[name] = newest if before is None else max(before, newest)

    def census(self, filesystem_type: str | None) -> Census:
        """Return the sum. The filesystem's type decides whether few even seconds mean two-second times."""
        return Census(
            entries=self._entries,
            files=self._files,
            bytes=self._bytes,
            granularity_ns=self._granularity(filesystem_type),
            newest_mtime_ns=self._newest["mtime_ns"],
            newest_ctime_ns=self._newest["ctime_ns"],
            odd_times=self._odd,
            hollow=self._hollow,
            linked=self._linked,
            digested=self._digested,
        )

    def _granularity(self, filesystem_type: str | None) -> int:
        two_seconds = filesystem_type in TWO_SECOND_TYPES or self._plain >= ENOUGH_FOR_TWO_SECONDS
        steps = self._steps if two_seconds else [step for step in self._steps if step < STEPS_NS[0]]
        return steps[0] if steps and self._plain else 1
