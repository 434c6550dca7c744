"""Rows as SFTP gives them: st_mode, bytes, whole seconds; nothing else."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from coverage_audit.evidence.batches.rows import batch_of, kinds_of_modes
from coverage_audit.evidence.instants import SECOND_NS


class SftpRows:
    """Collects entries until they make a batch."""

    def __init__(self) -> None:
        self._paths: list[bytes] = []
        self._numbers: list[tuple[int, int, int]] = []
        self._targets: list[bytes | None] = []

    def __len__(self) -> int:
        """How many there are."""
        return len(self._paths)

    def add(self, path: bytes, mode: int, size: int, mtime: int, target: bytes | None) -> None:
        """Take an entry; `mtime` in whole seconds since 1970, `target` of a link."""
        self._paths.append(path)
        self._numbers.append((mode, min(size, 2**63 - 1), mtime))
        self._targets.append(target)

    def batch(self) -> Any:
        """Return all of them as a record batch without ctimes, blocks and links."""
        modes, sizes, seconds = np.array(self._numbers, np.int64).reshape(-1, 3).T
        nothing = pa.nulls(len(self), pa.int64())
        return batch_of(
            kinds_of_modes(modes),
            pa.array(self._paths, pa.binary()),
            (sizes, seconds * SECOND_NS, nothing),
            pa.array(self._targets, pa.binary()),
        )
