"""Two paths of one key must never pass for one file: the last look before a manifest gets its name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.store.columns import integers

_AT_A_TIME = 8_000_000  # 64 MB of upper halves


def refuse_shared_keys(file: Path, entries: int) -> None:
    """Raise EvidenceError where two rows of a file have one key. Reads the keys once for every 8 million rows."""
    shares = max(1, -(-entries // _AT_A_TIME))
    with pq.ParquetFile(file) as written:
        for share in range(shares):
            suspects = _twice(_halves(written, "key_hi", share, shares))
            if len(suspects):
                _refuse_if_both_halves_agree(written, suspects)


def _halves(written: Any, name: str, share: int, shares: int) -> Any:
    found = []
    for batch in written.iter_batches(batch_size=1 << 20, columns=[name]):
        values = integers(batch[name])
        found.append(values if shares == 1 else values[values % np.uint64(shares) == share])
    return np.concatenate(found) if found else np.empty(0, np.uint64)


def _twice(values: Any) -> Any:
    values = np.sort(values)
    return np.unique(values[1:][values[1:] == values[:-1]])


def _refuse_if_both_halves_agree(written: Any, suspects: Any) -> None:
    seen: set[tuple[int, int]] = set()
    for batch in written.iter_batches(batch_size=1 << 20, columns=["key_hi", "key_lo"]):
        upper, lower = integers(batch["key_hi"]), integers(batch["key_lo"])
        for place in np.flatnonzero(np.isin(upper, suspects)):
            key = (int(upper[place]), int(lower[place]))
            if key in seen:
                raise EvidenceError("Two paths of this listing share one key: it cannot be compared.")
            seen.add(key)
