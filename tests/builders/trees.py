"""Trees of files on disk."""

from __future__ import annotations

import os
from pathlib import Path

from coverage_audit.evidence.content import Wanted


def a_tree(folder: Path, files: int, in_each: int = 500) -> Path:
    """Make `files` small files in folders of `in_each`, with names long enough to make a listing of some size."""
    for number in range(files):
        if number % in_each == 0:
            (folder / f"transect-{number // in_each:04d}").mkdir(parents=True)
        name = f"transect-{number // in_each:04d}/recording-of-the-dawn-chorus-{number:08d}.flac"
        (folder / name).touch()
    return folder


def flip(file: Path) -> None:
    """Flip one bit, and put size and time back. The ctime cannot be put back."""
    seen = file.stat()
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    os.utime(file, ns=(seen.st_atime_ns, seen.st_mtime_ns))


def wanted(root: Path, *names: bytes) -> list[Wanted]:
    """Return these files as a listing shows them now."""
    figures = [(root / os.fsdecode(name)).stat() for name in names]
    return [
        Wanted(path=name, size=seen.st_size, mtime_ns=seen.st_mtime_ns)
        for name, seen in zip(names, figures, strict=True)
    ]
