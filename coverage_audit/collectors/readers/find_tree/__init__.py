"""A tree as GNU find lists it, over any transport: the request, and the reading of what it prints.

The listing is a manifest's worth only when all of this holds: both markers of this run stand where they must, the
root is its first record, every record is whole, find's own status inside the stream equals the script's, and each of
find's complaints is understood and bears a path (a place that is blind, or an entry that vanished).
"""

from __future__ import annotations

from coverage_audit.collectors.readers.find_tree.reading import FindReader
from coverage_audit.collectors.readers.find_tree.script import request

__all__ = ["FindReader", "request"]
