"""One table of all speeds, each with its reference timed in the same run.

`python -m tests.benchmarks [walk] [compare] [audit] [content] [retire] [page]`; without a name all of them. On an idle
machine this takes some twenty minutes and 5 GB of scratch space; `--small` divides every size by ten, and
`--also-50-million` adds that row.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from collections.abc import Callable
from pathlib import Path

from tests.benchmarks import audit, compare, content, page, retire, walk
from tests.benchmarks.timing import Figure

MILLION = 1_000_000


def main() -> None:
    """Print the table."""
    words = argparse.ArgumentParser(description=__doc__)
    rows = ["walk", "compare", "audit", "content", "retire", "page", []]
    words.add_argument("what", nargs="*", choices=rows, help="which rows (default: all)")
    words.add_argument("--small", action="store_true", help="a tenth of every size")
    words.add_argument("--also-50-million", action="store_true", help="compare 50 million rows too")
    words.add_argument("--rounds", type=int, default=3, help="how often each pair is timed")
    words.add_argument("--folder", type=Path, help="where scratch space is (default: the system's)")
    chosen = words.parse_args()
    size = MILLION // 10 if chosen.small else MILLION
    makers: dict[str, Callable[[], list[Figure]]] = {
        "walk": lambda: walk.rows(size, folder=chosen.folder, rounds=chosen.rounds),
        "compare": lambda: compare.rows(
            10 * size, also_50_million=chosen.also_50_million, folder=chosen.folder, rounds=chosen.rounds
        ),
        "audit": lambda: audit.rows(size, folder=chosen.folder, rounds=chosen.rounds),
        "content": lambda: content.rows(
            size // 10, large=2 if chosen.small else 8, folder=chosen.folder, rounds=chosen.rounds
        ),
        "retire": lambda: retire.rows(5 * size, folder=chosen.folder, rounds=chosen.rounds),
        "page": lambda: page.rows(folder=chosen.folder, rounds=chosen.rounds),
    }
    load = os.getloadavg()[0]
    sys.stdout.write(f"{os.cpu_count()} processors ({platform.machine()}), load {load:.1f} at the start\n")
    for name in chosen.what or makers:
        for figure in makers[name]():
            sys.stdout.write(figure.line() + "\n")
            sys.stdout.flush()


main()
