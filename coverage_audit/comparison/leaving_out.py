"""What the owner leaves out, by patterns in gitignore syntax, on names that are bytes.

The rules are those of gitignore(5): the last pattern that matches an entry decides, `!` takes it back in, a
pattern that ends in a slash means folders only, and what lies below a folder that is left out is left out,
whatever later patterns say. `?` and `[...]` stand for one byte, as in git itself.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pathspec.patterns.gitignore import GitIgnorePatternError
from pathspec.patterns.gitignore.spec import GitIgnoreSpecPattern

from coverage_audit.comparison.side import FOLDER
from coverage_audit.errors import ComparisonError
from coverage_audit.estate.model import Copy, Dataset
from coverage_audit.evidence.difference import Tally

KEPT = -1
"""Stands for "no pattern leaves it out" where the number of a pattern is asked for."""

_FOLDER_MARK = b"(?P<ps_d>/)"  # pathspec's sign for "and it is a folder"
_FOLDERS_REMEMBERED = 65536


def patterns_of(litter: Sequence[str], dataset: Dataset, copy: Copy | None = None) -> tuple[str, ...]:
    """Return all patterns by which a dataset (and one copy of it) leaves out, those that decide in the end last."""
    return (*litter, *dataset.leave_out, *(copy.leave_out if copy else ()))


def worth_telling(by: Sequence[tuple[str, Tally]], litter: Sequence[str]) -> tuple[tuple[str, Tally], ...]:
    """Return what each pattern left out, without the litter that a tree does not have: nobody wrote it by mistake."""
    return tuple((pattern, tally) for pattern, tally in by if tally.files or pattern not in litter)


class _Pattern:
    """One pattern, and whether it leaves out or takes back in."""

    def __init__(self, regex: bytes, *, leaves_out: bool) -> None:
        self.leaves_out = leaves_out
        self._of_entry = regex.endswith((_FOLDER_MARK, b"|$)"))
        self._regex = re.compile(regex + rb"\Z" if self._of_entry else regex, re.DOTALL)
        self.loose = regex.replace(_FOLDER_MARK, b"(?:/|$)")

    def matches(self, path: bytes, *, is_folder: bool) -> bool:
        """Whether the pattern means this very entry (not: something above it)."""
        return self._regex.search(path + b"/" if is_folder and self._of_entry else path) is not None


class LeavingOut:
    """All patterns of a dataset and a copy together. Raises ComparisonError for one that makes no sense."""

    def __init__(self, patterns: Sequence[str]) -> None:
        self.patterns = tuple(patterns)
        self._compiled = tuple((number, _compiled(text)) for number, text in enumerate(self.patterns))
        self._known = [(number, pattern) for number, pattern in reversed(self._compiled) if pattern is not None]
        self._folders: dict[bytes, int] = {}
        self._sieve = _sieve([pattern.loose for _, pattern in self._known])

    def __bool__(self) -> bool:
        """Whether anything can be left out."""
        return any(pattern.leaves_out for _, pattern in self._known)

    def leaving(self) -> tuple[int, ...]:
        """Return the numbers of the patterns that leave out (no comments, none that take back in)."""
        return tuple(sorted(number for number, pattern in self._known if pattern.leaves_out))

    def which(self, path: bytes, *, is_folder: bool) -> int:
        """Return the number of the pattern that leaves an entry out, or KEPT."""
        by_folder = self._by_folder(path.rpartition(b"/")[0])
        return by_folder if by_folder != KEPT else self._itself(path, is_folder=is_folder)

    def which_of(self, paths: Any, kinds: Any) -> Any:
        """Return `which` for an Arrow array of paths and their kinds (letter codes), as a numpy array.

        A loose expression over all patterns at once sorts out nearly all rows without touching them in Python.
        """
        found = np.full(len(paths), KEPT, dtype=np.int32)
        for row in np.flatnonzero(self._possible(paths)).tolist():
            found[row] = self.which(paths[row].as_py(), is_folder=bool(kinds[row] == FOLDER))
        return found

    def _by_folder(self, folder: bytes) -> int:
        """Return the pattern that leaves out a folder or one above it. No recursion: trees can be very deep."""
        known = self._folders.get(folder)
        if known is not None or not folder:
            return KEPT if known is None else known
        if len(self._folders) > _FOLDERS_REMEMBERED:
            self._folders.clear()
        found, end = KEPT, 0
        while found == KEPT and end < len(folder):
            end = folder.find(b"/", end + 1)
            end = len(folder) if end < 0 else end
            found = self._itself(folder[:end], is_folder=True)
        self._folders[folder] = found
        return found

    def _itself(self, path: bytes, *, is_folder: bool) -> int:
        for number, pattern in self._known:
            if pattern.matches(path, is_folder=is_folder):
                return number if pattern.leaves_out else KEPT
        return KEPT

    def _possible(self, paths: Any) -> Any:
        try:
            return pc.match_substring_regex(paths, self._sieve).to_numpy(zero_copy_only=False)
        except pa.ArrowInvalid:  # an expression that its engine does not know: look at every row
            return np.ones(len(paths), dtype=bool)


def _compiled(text: str) -> _Pattern | None:
    """Return a pattern, or None for a comment, an empty line and what git itself discards."""
    try:
        # The library takes "a/**/" for "a/", git for all folders below it: said so that both agree.
        parsed = GitIgnoreSpecPattern(f"{text}*/" if text.endswith("/**/") else text)
        if parsed.regex is None or parsed.include is None:
            return None
        return _Pattern(parsed.regex.pattern.encode("utf-8", "surrogateescape"), leaves_out=parsed.include)
    except (GitIgnorePatternError, re.error, UnicodeEncodeError) as error:
        raise ComparisonError(f"The pattern {text!r} under leave_out cannot be understood: {error}") from error


def _sieve(loose: Sequence[bytes]) -> str:
    """Join expressions into one for the column library's own engine, which takes text: other bytes by their number."""
    joined = b"|".join(b"(?:" + regex + b")" for regex in loose)
    return "(?s)" + "".join(chr(octet) if octet < 128 else f"\\x{octet:02x}" for octet in joined)
