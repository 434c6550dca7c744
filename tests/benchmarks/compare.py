"""Comparing two stored manifests: against `comm` on the same as sorted text, on quiet nights, and as trees grow.

`python tests/benchmarks/compare.py [--rows N] [--also-50-million] [--folder FOLDER]` prints the table.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.made_up_trees import Vary, evenly_apart, runs_of_folders, unchanged, write_tree
from tests.benchmarks.timing import Figure, Measured, in_pairs, measure

MILLION = 1_000_000
ONE_IN = 1000  # entries differ: a third each missing, extra and of an older version
PEAK = 512 * 2**20
EXPONENT = 1.1


def rows(
    entries: int = 10 * MILLION, *, also_50_million: bool = False, folder: Path | None = None, rounds: int = 5
) -> list[Figure]:
    """Measure all of it; the made-up trees go to a scratch folder (about 4 GB) that is removed."""
    with TemporaryDirectory(dir=folder) as scratch:
        place = Path(scratch)
        figures = [_against_comm(place, entries, rounds), *_quiet_nights(place, entries, rounds)]
        figures += [_empty_copy(place, entries, rounds), _growth(place, entries // 10, entries, rounds)]
        if also_50_million:
            figures.append(_growth(place, entries, 5 * entries, 3))
    return figures


def _against_comm(place: Path, entries: int, rounds: int) -> Figure:
    original, copy = _spread_evenly(place, entries, text=True)
    texts = [original.with_suffix(".txt"), copy.with_suffix(".txt")]
    listed = place / "listed.txt"
    ours, comm = in_pairs(
        partial(_compare, original, copy, place), lambda: measure(["comm", "-3", *texts], output=listed), rounds
    )
    for text in texts:
        text.unlink()
    return Figure(
        work=f"compare {entries:,} x {entries:,}, 1 in {ONE_IN} differs",
        measured=ours,
        reference="comm -3",
        referred=comm,
        most=0.6,
        most_peak=PEAK,
    )


def _quiet_nights(place: Path, entries: int, rounds: int) -> list[Figure]:
    """Against the full comparison of trees of one size, the start of either process left aside."""
    whole = partial(_compare_alone, *_spread_evenly(place, entries), place)
    before = _written(place / f"before-{entries}.parquet", entries, unchanged)
    some = runs_of_folders(entries, share=0.001, runs=50)
    nights: list[tuple[str, Vary, float]] = [
        ("a night in which nothing changed", unchanged, 0.1),
        ("a night in which 0.1 % of the folders changed, in 50 runs", some, 0.3),
    ]
    figures = []
    for words, vary, most in nights:
        after = _written(place / "after.parquet", entries, vary)
        ours, referred = in_pairs(partial(_compare_alone, before, after, place), whole, rounds)
        figures.append(Figure(work=words, measured=ours, reference="the full comparison", referred=referred, most=most))
        after.unlink()
    before.unlink()
    return figures


def _empty_copy(place: Path, entries: int, rounds: int) -> Figure:
    """Every row is missing and goes into the relation: the most that a comparison can have to write."""
    original, copy = _spread_evenly(place, entries)
    empty = _written(place / "empty.parquet", 0, unchanged)
    ours, referred = in_pairs(
        partial(_compare, original, empty, place), partial(_compare, original, copy, place), rounds
    )
    return Figure(
        work=f"compare {entries:,} with an empty copy",
        measured=ours,
        reference="the full comparison",
        referred=referred,
        most_peak=PEAK,
    )


def _growth(place: Path, small: int, large: int, rounds: int) -> Figure:
    """Ten or five times the entries: the time may grow with the exponent, memory by a fifth."""
    one, other = _spread_evenly(place, small), _spread_evenly(place, large)
    more, fewer = in_pairs(partial(_compare_alone, *other, place), partial(_compare_alone, *one, place), rounds)
    most_peak = int(1.2 * fewer.peak) if small >= 10 * MILLION else None
    most = 5.5 if small >= 10 * MILLION else (large / small) ** EXPONENT
    return Figure(
        work=f"compare {large:,} x {large:,}, 1 in {ONE_IN} differs",
        measured=more,
        reference=f"the same of {small:,}",
        referred=fewer,
        most=round(most, 1),
        most_peak=most_peak,
    )


def _spread_evenly(place: Path, entries: int, *, text: bool = False) -> tuple[Path, Path]:
    """Write an original and a copy once, or find them written."""
    original, copy = place / f"original-{entries}.parquet", place / f"copy-{entries}.parquet"
    for file, is_copy in ((original, False), (copy, True)):
        if not file.exists():
            _written(file, entries, evenly_apart(ONE_IN, copy=is_copy), text=file.with_suffix(".txt") if text else None)
    return original, copy


def _written(file: Path, entries: int, vary: Vary, *, text: Path | None = None) -> Path:
    write_tree(file, entries, vary, text=text)
    return file


def _compare(original: Path, copy: Path, place: Path) -> Measured:
    """Compare in a process of its own, its start and its imports timed too."""
    return measure([sys.executable, Path(__file__).with_name("compare_once.py"), original, copy, place])


def _compare_alone(original: Path, copy: Path, place: Path) -> Measured:
    """Compare in a process of its own; the time is that of the comparison without the start of the process."""
    answer = place / "answer.txt"
    script = Path(__file__).with_name("compare_once.py")
    whole = measure([sys.executable, script, original, copy, place], output=answer)
    return replace(whole, wall=float(answer.read_text(encoding="utf-8").split()[0]))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=10 * MILLION)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--also-50-million", action="store_true")
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    for figure in rows(given.rows, also_50_million=given.also_50_million, folder=given.folder, rounds=given.rounds):
        print(figure.line())  # noqa: T201  a script's answer


if __name__ == "__main__":
    main()
