"""Which of five million files exist nowhere among twenty million others: against `sort` and `comm` on the same keys.

`python -m tests.benchmarks retire` prints the row; the keys are those of contents, one in a hundred is lacking.
"""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.benchmarks.timing import Figure, Measured, in_pairs, measure

MILLION = 1_000_000
PEAK = 2**30
ONE_IN = 100  # files that leave exist nowhere else; as many have no digest
AT_ONCE = 1_000_000


def rows(entries: int = 5 * MILLION, *, folder: Path | None = None, rounds: int = 3) -> list[Figure]:
    """Measure it; the keys go to a scratch folder (about 3 GB) that is removed."""
    with TemporaryDirectory(dir=folder) as scratch:
        place = Path(scratch)
        mine, others = place / "mine", place / "others"
        numbers = np.random.default_rng(7)
        kept = np.arange(entries)[np.arange(entries) % ONE_IN != 0]
        beside = np.arange(entries, entries + 4 * entries - len(kept))
        _write(mine, numbers.permutation(entries))
        _write(others, numbers.permutation(np.concatenate([kept, beside])))
        script = Path(__file__).with_name("retire_once.py")
        ours, referred = in_pairs(
            lambda: measure([sys.executable, script, f"{mine}.parquet", f"{others}.parquet", place]),
            partial(_sort_and_comm, place, mine, others),
            rounds,
        )
        return [
            Figure(
                work=f"retire: which of {entries:,} exist nowhere among {4 * entries:,}",
                measured=ours,
                reference="sort, sort, comm -23",
                referred=referred,
                most=0.2,
                most_peak=PEAK,
            )
        ]


def _sort_and_comm(place: Path, mine: Path, others: Path) -> Measured:
    command = f"sort {mine}.txt > {place}/1; sort {others}.txt > {place}/2; comm -23 {place}/1 {place}/2"
    return measure(["sh", "-c", command], output=place / "nowhere.txt")


def _write(file: Path, numbers: Any) -> None:
    """Write the keys of files by their numbers, as a table and as lines of text; one that was not read is unique."""
    schema = pa.schema([("k_hi", pa.uint64()), ("k_lo", pa.uint64())])
    with pq.ParquetWriter(f"{file}.parquet", schema) as table, Path(f"{file}.txt").open("wb") as text:
        for start in range(0, len(numbers), AT_ONCE):
            part = numbers[start : start + AT_ONCE].astype(np.uint64)
            words = [_mixed(part, number) for number in range(2)]
            unread = part % ONE_IN == ONE_IN // 2
            table.write_table(pa.table([pa.array(word, mask=unread) for word in words], schema=schema))
            octets = np.stack(words, axis=1).tobytes()
            keys = (octets[at : at + 16].hex() for at in range(0, len(octets), 16))
            lines = (
                f"{file.name} {key}\n" if not_read else f"{key}\n" for key, not_read in zip(keys, unread, strict=True)
            )
            text.write("".join(lines).encode("ascii"))


def _mixed(numbers: Any, word: int) -> Any:
    """Spread numbers over 64 bits, as a digest would be (the finalizer of SplitMix64, from memory)."""
    with np.errstate(over="ignore"):
        mixed = (numbers + np.uint64(word + 1) * np.uint64(2**40)) * np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        return mixed ^ (mixed >> np.uint64(31))
