"""Hold contents that leave against others once, as a process of its own: `retire_once.py MINE OTHERS FOLDER`.

Both are Parquet files of keys (k_hi, k_lo; null where nothing was read).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from coverage_audit.comparison.held_sql import NOWHERE, TABLES
from coverage_audit.evidence.engine import open_engine

MEMORY = 512_000_000  # as the sample estate has it


def retire_once(mine: Path, others: Path, folder: Path) -> None:
    """Load both sides as a retirement does, and print how many files exist nowhere: those not read are unique."""
    files = pq.ParquetFile(mine).metadata.num_rows
    with open_engine(MEMORY, folder) as engine:
        for statement in TABLES:
            engine.execute(statement)
        for table, file in (("mine_content", mine), ("other_content", others)):
            start = 0
            for batch in pq.ParquetFile(file, pre_buffer=False).iter_batches(1 << 17, use_threads=False):
                number = pa.array(np.arange(start, start + len(batch)))
                part = pa.table({"i": number, "k_hi": batch["k_hi"], "k_lo": batch["k_lo"]})
                insert = f"INSERT INTO {table} SELECT * FROM part WHERE k_hi IS NOT NULL"  # noqa: S608 - a name of this module
                engine.execute(insert, tables={"part": part})
                start += len(batch)
        read = engine.query("SELECT count(*) AS files FROM mine_content")["files"][0].as_py()
        nowhere = engine.query(f"SELECT count(*) AS files FROM ({NOWHERE})")["files"][0].as_py()  # noqa: S608 - the program's
        print(files - read + nowhere)  # noqa: T201  a script's answer


if __name__ == "__main__":
    retire_once(*(Path(argument) for argument in sys.argv[1:4]))
