"""A random order of keyed paths: each path's rank depends on nothing but the path, the ledger's secret and a seed."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

SEED_BYTES: Final = 16


def ranks(key_hi: Any, key_lo: Any, seed: bytes) -> Any:
    """Return the ranks of keyed paths, as unsigned 63-bit integers.

    Keys are digests under a secret already; the seed makes another order of them (the finalizer of SplitMix64: Steele,
    Lea and Flood, OOPSLA 2014, figure 16).
    """
    first, second = np.frombuffer(seed[:SEED_BYTES], dtype="<u8")
    return _mixed(_mixed(key_hi + first) ^ (key_lo + second)) >> np.uint64(1)


def _mixed(values: Any) -> Any:
    values = (values ^ (values >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    values = (values ^ (values >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return values ^ (values >> np.uint64(31))
