"""Reading the content of a sample of files, worker and all, against `sha256sum` of the same files.

`python -m tests.benchmarks content`. The files lie in memory alone: what is measured is everything but a drive, which
an audit reads even where the system still holds the file.
"""

from __future__ import annotations

import os
import sys
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.timing import Figure, Measured, in_pairs, measure

SMALL = 4096  # bytes of a small file
MIDDLING = 64 << 10
LARGE = 256 << 20
IN_EACH = 20  # small files of a folder
IN_MEMORY = Path("/dev/shm")
ONCE = Path(__file__).with_name("content_once.py")


def rows(small: int = 100_000, large: int = 8, *, folder: Path | None = None, rounds: int = 3) -> list[Figure]:
    """Measure so many small files, a fifth as many of middling size, and so many large ones; all are made for it."""
    with TemporaryDirectory(dir=folder or IN_MEMORY) as scratch:
        place = Path(scratch)
        return [
            _measured(place / "small", small, SMALL, f"{small:,} files of {SMALL >> 10} KiB", rounds),
            _measured(
                place / "middling", small // 5, MIDDLING, f"{small // 5:,} files of {MIDDLING >> 10} KiB", rounds
            ),
            _measured(place / "large", large, LARGE, f"{large} files of {LARGE >> 20} MiB", rounds),
        ]


def _measured(root: Path, count: int, size: int, words: str, rounds: int) -> Figure:
    names = [_made(root, number, size) for number in range(count)]
    listed, zeros = root.with_suffix(".listed"), root.with_suffix(".zeros")
    figures = [(root / name).stat() for name in names]
    listed.write_text(
        "".join(f"{seen.st_size} {seen.st_mtime_ns} {name}\n" for name, seen in zip(names, figures, strict=True))
    )
    zeros.write_text("".join(f"{root / name}\0" for name in names))
    tool: list[str | Path] = ["xargs", "-0", "-a", zeros, "sha256sum"]
    measure(tool)  # once for its own start
    ours, theirs = in_pairs(partial(_read, root, listed), partial(measure, tool), rounds)
    return Figure(work=f"read and digest {words}", measured=ours, reference="sha256sum", referred=theirs, most=0.5)


def _read(root: Path, listed: Path) -> Measured:
    return measure([sys.executable, ONCE, root, listed])


def _made(root: Path, number: int, size: int) -> str:
    name = f"survey-{number // IN_EACH:06d}/recording-{number:08d}-of-kittiwakes.flac"
    file = root / name
    file.parent.mkdir(parents=True, exist_ok=True)
    with file.open("wb") as out:
        for start in range(0, size, 1 << 20):
            out.write(os.urandom(min(1 << 20, size - start)))
    return name
