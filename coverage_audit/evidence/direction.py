"""Where the newest work appears first: in the original, as it should, or in the copy."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class Direction:
    """What became of files that changed after `since`. A file was written where it lies when its ctime is its mtime.

    `original_first` and `copy_first` count the files that both hold alike, by where they were first. `made_in_copy` are
    files that the copy alone has, or has newer, and that were written there (`example` is one); `made_in_original`
    those that were written in the original.
    """

    since: datetime
    original_first: int = 0
    copy_first: int = 0
    made_in_original: int = 0
    made_in_copy: int = 0
    example: bytes = b""
