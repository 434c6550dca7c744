"""Manifests in open formats, made by other programs, as evidence of a tree: bytes in, a listed tree out.

A BagIt bag (RFC 8493), a checksum file of coreutils, a specification of mtree(5). Whatever is wrong in one gives one
`OpenManifestError` and no evidence: half a manifest would say of every file in its other half that it is missing.
"""

from __future__ import annotations

from coverage_audit.collectors.readers.open_manifests.bag import BagFile, parse_bag
from coverage_audit.collectors.readers.open_manifests.checksums import parse_checksums
from coverage_audit.collectors.readers.open_manifests.listed_tree import ListedTree
from coverage_audit.collectors.readers.open_manifests.mtree import parse_mtree
from coverage_audit.collectors.readers.open_manifests.refusal import OpenManifestError

__all__ = ["BagFile", "ListedTree", "OpenManifestError", "parse_bag", "parse_checksums", "parse_mtree"]
