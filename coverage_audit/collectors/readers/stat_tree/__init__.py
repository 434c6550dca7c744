"""A tree as find lists it and stat shows it, where find is not GNU's: BusyBox, the BSDs, macOS.

Entries come in batches, as find hands them to stat. Of each batch the box says how many paths it held and how stat
ended, so that a batch whose output was lost (BusyBox ends well when it cannot write) is noticed; the targets of its
links follow, each ended by NUL.

The listing is a manifest's worth only when all of this holds: the markers of this run stand where they must, the root
is its first record, every record has its shape, every batch holds a record or a complaint for each of its paths, find's
own status agrees with its complaints, and each complaint is understood.
"""

from __future__ import annotations

import os

from coverage_audit.collectors.readers.stat_tree.reading import StatReader
from coverage_audit.collectors.requests import Request

__all__ = ["StatReader", "request"]


def request(way: str, root: str, nonce: str) -> Request:
    """Return the request to list the tree below an absolute `root`; `way` is stat-c or stat-f."""
    return Request(verb="walk", arguments=(way.encode("ascii"), os.fsencode(root)), nonce=nonce)
