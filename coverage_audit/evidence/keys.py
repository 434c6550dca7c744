"""Keys: 128 bits that stand for a path, so that no join touches the bytes of paths.

The key is MD5 over the ledger's secret seed and the path, so nobody who can name files can make two of them
collide. MD5's known weaknesses need a prefix that the attacker knows; two paths of one key are refused anyway.
"""

from __future__ import annotations

import hashlib
from typing import Any

import pyarrow as pa

from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.engine import Engine

_HALF = 2**64
# One MD5 for both halves: the engine's md5_number_upper and md5_number_lower each hash anew, through hexadecimal text.
_SQL = """
SELECT (n >> 64)::UBIGINT AS key_hi, (n & 18446744073709551615::UHUGEINT)::UBIGINT AS key_lo
FROM (SELECT md5_number($1 || path) AS n FROM paths)
"""


def key_of(seed: bytes, path: bytes) -> tuple[int, int]:
    """Return the key of one path as (upper, lower) 64 bits of the little-endian MD5 of seed and path."""
    number = int.from_bytes(hashlib.md5(seed + path, usedforsecurity=False).digest(), "little")
    return number // _HALF, number % _HALF


def keys_of(engine: Engine, seed: bytes, paths: Any) -> Any:
    """Return a table (key_hi, key_lo) of an array of paths, in its order.

    Raises EvidenceError where the engine's MD5 is not hashlib's: keys must agree between versions of it.
    """
    keys = engine.query(_SQL, [seed], {"paths": pa.table({"path": paths})})
    if keys.num_rows:
        last = keys.num_rows - 1
        found = (keys["key_hi"][last].as_py(), keys["key_lo"][last].as_py())
        if found != key_of(seed, paths[last].as_py()):
            raise EvidenceError("This version of the engine computes keys differently: no manifest can be written.")
    return keys
