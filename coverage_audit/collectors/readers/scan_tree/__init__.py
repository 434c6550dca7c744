"""A tree on this machine, walked by a few processes side by side (threads lose to the interpreter's lock).

The walk is a manifest's worth only when every stretch of it ended with a count that agrees, every walker said how many
rows it told and ended well, and the root is still the folder that it was.
"""

from __future__ import annotations

from coverage_audit.collectors.readers.scan_tree.scanning import scan

__all__ = ["scan"]
