"""The file while it is being written: row groups behind one another, then footer, disk, name."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from coverage_audit.evidence.durable import bring_to_disk
from coverage_audit.evidence.engine import open_engine
from coverage_audit.evidence.keys import keys_of
from coverage_audit.evidence.manifest import Blind, Census, Origin
from coverage_audit.evidence.store.collisions import refuse_shared_keys
from coverage_audit.evidence.store.counting import Count
from coverage_audit.evidence.store.footer import Footer, footer_metadata, seed_id
from coverage_audit.evidence.store.groups import Cutter, group_of
from coverage_audit.evidence.store.layout import BATCH_SCHEMA, COMPRESSION, DICTIONARIES, ENCODINGS, ROW_SCHEMA, Group


class Part:
    """A manifest in the making, under its name and `.part`; rows must come in tree order."""

    def __init__(self, file: Path, seed: bytes, memory_limit: int, odd_after_ns: int) -> None:
        self._file = file
        self._part = file.with_name(file.name + ".part")
        self._seed = seed
        self._odd_after = odd_after_ns
        self._engine = open_engine(memory_limit, file.with_name(file.name + ".temp"))
        self._count = Count(odd_after_ns)
        self._cutter = Cutter()
        self._groups: list[Group] = []
        os.close(os.open(self._part, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600))
        try:
            self._writer = pq.ParquetWriter(
                self._part,
                ROW_SCHEMA,
                compression=COMPRESSION,
                use_dictionary=DICTIONARIES,
                column_encoding=ENCODINGS,
                write_statistics=False,
                write_page_checksum=True,
            )
        except BaseException:
            self._part.unlink()
            raise

    def write(self, rows: Any) -> None:
        """Write a table of BATCH_SCHEMA with single chunks."""
        self._count.add(rows)
        keys = keys_of(self._engine, self._seed, rows["path"].chunk(0))
        keyed = pa.table([*keys.columns, *rows.columns], schema=ROW_SCHEMA)
        for group in self._cutter.push(keyed):
            self._write_group(group)

    def complete(self, origin: Origin, blind: tuple[Blind, ...]) -> Census:
        """Write the footer, make sure that no key is shared, bring all to disk and give the file its name."""
        for group in self._cutter.rest():
            self._write_group(group)
        census = self._count.census(origin.filesystem_type)
        footer = Footer(
            origin=origin, census=census, blind=blind, seed_id=seed_id(self._seed), groups=tuple(self._groups)
        )
        self._writer.add_key_value_metadata(footer_metadata(footer))
        self._writer.close()
        self._engine.close()
        refuse_shared_keys(self._part, census.entries)
        bring_to_disk(self._part)
        self._part.rename(self._file)
        bring_to_disk(self._file.parent)
        return census

    def give_back(self) -> Iterator[Any]:
        """Close the file, yield its rows as record batches of BATCH_SCHEMA, and remove it."""
        for group in self._cutter.rest():
            self._write_group(group)
        self._writer.close()
        self._engine.close()
        with pq.ParquetFile(self._part) as written:
            yield from written.iter_batches(columns=BATCH_SCHEMA.names)
        self._part.unlink()

    def discard(self) -> None:
        """Remove the unfinished file; harmless when it is finished or gone."""
        self._engine.close()
        with contextlib.suppress(OSError, pa.ArrowException):
            self._writer.close()
        self._part.unlink(missing_ok=True)

    def _write_group(self, rows: Any) -> None:
        whole = rows.combine_chunks()
        self._groups.append(group_of(whole, self._odd_after))
        self._writer.write_table(whole, row_group_size=len(whole))
