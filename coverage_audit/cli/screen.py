"""Where text is printed: how wide it may be, and whether it may have colours."""

from __future__ import annotations

import shutil
import sys
from dataclasses import dataclass
from typing import Final

_COLUMNS: Final = 100


@dataclass(frozen=True, kw_only=True)
class Screen:
    """Standard output: so many columns wide; `colour` where it is a terminal."""

    width: int
    colour: bool


def screen() -> Screen:
    """Return what standard output is now; a file or a pipe is given the columns of a page."""
    if not sys.stdout.isatty():
        return Screen(width=_COLUMNS, colour=False)
    return Screen(width=shutil.get_terminal_size((_COLUMNS, 24)).columns, colour=True)
