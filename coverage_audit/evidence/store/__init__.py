"""The one door to manifests on disk: written once and whole, read whole or not at all."""

from __future__ import annotations

from coverage_audit.evidence.store.adding_digests import add_digests
from coverage_audit.evidence.store.digested import DigestsOf, with_digests
from coverage_audit.evidence.store.digests import DIGESTS_SCHEMA, DigestsFile, StoredDigests, reading_digests
from coverage_audit.evidence.store.footer import seed_id
from coverage_audit.evidence.store.keying import keyed_again
from coverage_audit.evidence.store.layout import BATCH_SCHEMA, ROW_SCHEMA, Group
from coverage_audit.evidence.store.reading import RowReader, group_index, open_manifest, read_groups, rows
from coverage_audit.evidence.store.writing import ManifestWriter

__all__ = [
    "BATCH_SCHEMA",
    "DIGESTS_SCHEMA",
    "ROW_SCHEMA",
    "DigestsFile",
    "DigestsOf",
    "Group",
    "ManifestWriter",
    "RowReader",
    "StoredDigests",
    "add_digests",
    "group_index",
    "keyed_again",
    "open_manifest",
    "read_groups",
    "reading_digests",
    "rows",
    "seed_id",
    "with_digests",
]
