"""What is written must outlast a power cut: a file's content first, then the names of its folder."""

from __future__ import annotations

import os
from pathlib import Path


def bring_to_disk(path: Path) -> None:
    """Wait until a file's content, or a folder's names, are on the disk. Raises OSError."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
