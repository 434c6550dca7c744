"""Walking a tree into a stored manifest, here and over SSH, against `find -printf` into a file.

`python -m tests.benchmarks walk`, or this file alone: `python tests/benchmarks/walk.py [--rows N] [--tree FOLDER]`.
"""

from __future__ import annotations

import argparse
import os
import sys
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.loopback import a_server
from tests.benchmarks.timing import Figure, Measured, in_pairs, measure

MILLION = 1_000_000
IN_EACH = 20  # files of a folder
PRINTF = r"%y %s %T@ %C@ %D %P\0"
ONCE = Path(__file__).with_name("walk_once.py")


def rows(
    entries: int = MILLION, *, folder: Path | None = None, rounds: int = 3, tree: Path | None = None
) -> list[Figure]:
    """Measure both; the tree is made in a scratch folder (as many inodes as entries) unless there is one."""
    with TemporaryDirectory(dir=folder) as scratch:
        place = Path(scratch)
        return _measured(tree or a_large_tree(place / "tree", entries), place, entries, rounds)


def _measured(tree: Path, place: Path, entries: int, rounds: int) -> list[Figure]:
    stored, listed = place / "manifest.parquet", place / "listed"
    find: list[str | Path] = ["find", tree, "-printf", PRINTF]
    measure(find, output=listed)  # once for the cache
    here, found = in_pairs(partial(_stored, tree, stored), partial(measure, find, output=listed), rounds)
    with a_server(place / "keys") as server:
        far = partial(_stored, tree, stored, str(server.folder), str(server.port))
        command = [*server.client, f"find '{tree}' -printf '{PRINTF}'"]
        over, referred = in_pairs(far, partial(measure, command, output=listed), rounds)
    words = f"walk {entries:,} files"
    return [
        Figure(
            work=f"{words} into a stored manifest",
            measured=here,
            reference="find -printf",
            referred=found,
            most=1.0,
            most_cpu=1.9,
        ),
        Figure(work=f"{words} over SSH", measured=over, reference="ssh find -printf", referred=referred, most=1.15),
    ]


def _stored(tree: Path, file: Path, *server: str) -> Measured:
    return measure([sys.executable, ONCE, tree, file, *server])


def a_large_tree(root: Path, entries: int) -> Path:
    """Make empty files with paths of about 90 bytes, twenty in each folder."""
    for number in range(0, entries, IN_EACH):
        nth = number // IN_EACH
        place = root / f"site-{nth % 10:02d}-of-the-station/{2015 + nth // 10 % 10}-season/survey-{nth:06d}-shore"
        place.mkdir(parents=True)
        for take in range(IN_EACH):
            os.close(os.open(place / f"recording-{number + take:08d}-of-kittiwakes.flac", os.O_CREAT | os.O_WRONLY))
    return root


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=MILLION)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--tree", type=Path, help="a tree that is there, instead of one made for it")
    given = parser.parse_args()
    for figure in rows(given.rows, folder=given.folder, rounds=given.rounds, tree=given.tree):
        print(figure.line())  # noqa: T201 - a script's answer


if __name__ == "__main__":
    main()
