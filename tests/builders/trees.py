"""Trees of files on disk."""

from __future__ import annotations

from pathlib import Path


def a_tree(folder: Path, files: int, in_each: int = 500) -> Path:
    """Make `files` small files in folders of `in_each`, with names long enough to make a listing of some size."""
    for number in range(files):
        if number % in_each == 0:
            (folder / f"transect-{number // in_each:04d}").mkdir(parents=True)
        name = f"transect-{number // in_each:04d}/recording-of-the-dawn-chorus-{number:08d}.flac"
        (folder / name).touch()
    return folder
