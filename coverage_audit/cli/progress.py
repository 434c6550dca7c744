"""Progress on a terminal while trees are walked; nothing at all where there is none."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from rich.console import Console
from rich.progress import Progress as Bars
from rich.progress import SpinnerColumn, TaskID, TextColumn, TimeElapsedColumn

from coverage_audit.evidence.progress import Progress, silent
from coverage_audit.evidence.visible import visible


@contextmanager
def walking(stream: TextIO) -> Iterator[Progress]:
    """Show one line a tree on `stream` while the block runs, if it is a terminal; the lines vanish afterwards."""
    if not stream.isatty():
        yield silent
        return
    columns = (SpinnerColumn(), TextColumn("{task.description}", markup=False), TimeElapsedColumn())
    with Bars(*columns, console=Console(file=stream), transient=True) as bars:
        tasks: dict[str, TaskID] = {}

        def show(subject: str, entries: int) -> None:
            if subject not in tasks:
                tasks[subject] = bars.add_task("", total=None)
            bars.update(tasks[subject], description=f"{visible(subject)}: {entries:,} entries")

        yield show
