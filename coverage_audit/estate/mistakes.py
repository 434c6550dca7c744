"""The mistakes of a file, gathered and told all at once."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final, NoReturn

from coverage_audit.errors import EstateError
from coverage_audit.estate.nodes import Spot
from coverage_audit.estate.spelling import nearest

MOST_TOLD: Final = 1000
"""How many mistakes are told; a file with more is hardly an estate."""


class Mistakes:
    """A growing list of mistakes, each with its place and, in brackets, its mend."""

    def __init__(self) -> None:
        self._found: dict[tuple[Spot, str], None] = {}

    def add(self, spot: Spot, message: str) -> None:
        """Note one; the same said twice of one place is one."""
        self._found[spot, message] = None

    def __bool__(self) -> bool:
        """Whether there is any."""
        return bool(self._found)

    def raise_for(self, file: Path) -> NoReturn:
        """Raise EstateError with one line a mistake, in the order of the file."""
        name = shown_name(file)
        found = sorted(self._found)
        lines = [f"{name}:{spot.line}:{spot.column}: {_harmless(message)}" for spot, message in found[:MOST_TOLD]]
        if len(found) > MOST_TOLD:
            lines.append(f"{name}: and {len(found) - MOST_TOLD} more (is this the right file?)")
        raise EstateError("\n".join(lines))


def shown_name(file: Path) -> str:
    """Return a file's name as text that any terminal takes: what is not printable is escaped."""
    return _harmless(str(file))


def _harmless(text: str) -> str:
    """Escape what a terminal could obey, and what no output can encode."""
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)


def shown(text: str) -> str:
    """Quote a piece of the file in a message: short, with nothing that a terminal would obey.

    Of what looks like a URL only the scheme is shown: the rest may hold a password.
    """
    scheme, separator, _ = text.partition("://")
    safe = f"{scheme}://..." if separator else text
    cut = safe if len(safe) <= 60 else f"{safe[:57]}..."
    return f"'{_harmless(cut)}'"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return the mend for an unknown word: the nearest right one, else all of them where they are few."""
    words = sorted(known)
    near = nearest(word, words)
    if near is not None:
        return f"did you mean {shown(near)}?"
    if not words:
        return "none is declared"
    return f"known: {', '.join(words)}" if len(words) <= 16 else f"there are {len(words)} others, none like it"
