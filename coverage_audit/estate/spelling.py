"""The nearest right word for one that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word`, whatever the case (None: none is like it)."""
    words = sorted(known)
    same = [other for other in words if other.casefold() == word.casefold()]
    like = same or difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    return like[0] if like else None
