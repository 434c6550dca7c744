"""Plain text for a terminal: wrapped, never cut, safe to show, and coloured only where that was asked for."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from typing import Final

from coverage_audit.evidence.visible import visible

_LEAST: Final = 40
_GLUE: Final = "\u00a0"  # `visible` leaves none of its own
_FIGURE: Final = re.compile(r"(?<=[0-9]) (?=[0-9]{3}\b|(?:h|min|s|day|days|year|years|ago|[kMGTPE]?B)\b)")
_RESET: Final = "\x1b[0m"
# ECMA-48 select graphic rendition: bold, and foreground colours; each only underlines a word that stands there.
_STYLES: Final = {
    "heading": "\x1b[1m",
    "conforming": "\x1b[1;32m",
    "proven": "\x1b[32m",
    "conformity": "\x1b[32m",
    "nonconforming": "\x1b[1;31m",
    "nonconformity": "\x1b[31m",
    "incomplete": "\x1b[31m",
    "damaged": "\x1b[31m",
    "stale": "\x1b[33m",
    "unverified": "\x1b[34m",
}


@dataclass(frozen=True, kw_only=True)
class Paper:
    """What is written on: `width` in columns, and whether it shows colours."""

    width: int
    colour: bool

    def styled(self, text: str, style: str) -> str:
        """Return `text`, coloured as `style` where this paper shows colours. Widths count before this."""
        start = _STYLES.get(style, "") if self.colour else ""
        return f"{start}{text}{_RESET}" if start else text

    def heading(self, text: str) -> list[str]:
        """Return a heading with its rule, and a blank line before it."""
        return ["", self.styled(text, "heading"), "-" * len(text)]

    def wrapped(self, text: str, *, indent: int = 0, hanging: int | None = None) -> list[str]:
        """Wrap at blanks only: a path longer than the line is left whole for copying."""
        first, rest = " " * indent, " " * (indent if hanging is None else hanging)
        lines = textwrap.wrap(
            _FIGURE.sub(_GLUE, visible(text)),
            max(self.width, _LEAST),
            initial_indent=first,
            subsequent_indent=rest,
            break_long_words=False,
            break_on_hyphens=False,
        )
        return [line.replace(_GLUE, " ") for line in lines]

    def worded(self, word: str, text: str, *, indent: int, column: int) -> list[str]:
        """Write a word, styled as it says, and behind it `text`, wrapped from `column` on."""
        lines = self.wrapped(text, indent=column)
        pad = " " * max(column - indent - len(word), 1)
        first = lines[0].lstrip(" ") if lines else ""
        return [f"{' ' * indent}{self.styled(word, word)}{pad}{first}".rstrip(), *lines[1:]]
