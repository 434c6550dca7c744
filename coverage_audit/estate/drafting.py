"""Entries put into the text of an estate file, so that the owner's own lines and comments stay as they are."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from coverage_audit.errors import EstateError
from coverage_audit.estate.document import read_tree
from coverage_audit.estate.mistakes import Mistakes
from coverage_audit.estate.nodes import Keys

_NO_ID: Final = re.compile(r"[^a-z0-9._-]+")
_LONGEST_ID: Final = 64
_BREAK: Final = re.compile("(\r\n|\r|\n)")  # as the parser counts lines


@dataclass(frozen=True, kw_only=True)
class Entry:
    """Lines of YAML to be put first under `keys` (e.g. ("devices", "heron", "volumes")), unindented."""

    keys: tuple[str, ...]
    lines: tuple[str, ...]


def with_entries(text: str, entries: Sequence[Entry]) -> str:
    """Return an estate's text with entries put in, and `# ` comments at the end for those that have no room.

    There is room under a key whose value is written over several lines (no braces). Raises EstateError for a text
    that is no estate's.
    """
    tree = read_tree(text, Mistakes())
    if tree is None:
        raise EstateError("the estate's text cannot be read")
    pieces = _BREAK.split(text)
    homeless: list[str] = []
    places: dict[int, list[str]] = {}
    for entry in entries:
        place = _place(tree, entry.keys)
        if place is None:
            homeless += ["#", f"# To be put by hand under {' / '.join(entry.keys)}:"]
            homeless += [f"#   {line}" for line in entry.lines]
            continue
        after, indent = place
        places.setdefault(after, []).extend(f"{' ' * indent}{line}" if line else "" for line in entry.lines)
    out = ""
    for number, line in enumerate(pieces[::2], start=1):
        ending = "".join(pieces[2 * number - 1 : 2 * number])
        out += line + ending + "".join(f"{one}\n" for one in places.get(number, ()))
    if homeless and not out.endswith("\n"):
        out += "\n"
    return out + "".join(f"{line}\n" for line in homeless)


def id_of(text: str, taken: Collection[str]) -> str:
    """Return an id made of a name, one that is not taken. Raises EstateError where none is free."""
    bare = _NO_ID.sub("-", text.lower()).strip("-._")[: _LONGEST_ID - 4].strip("-._") or "unnamed"
    for number in range(1, 1000):
        found = bare if number == 1 else f"{bare}-{number}"
        if found not in taken:
            return found
    raise EstateError(f"no id is free for {bare}")


def quoted(text: str) -> str:
    r"""Return text as a double-quoted scalar (YAML 1.2.2 section 7.3.1); what does not print as `\U` escapes."""
    inner = "".join(
        f"\\{letter}" if letter in '"\\' else letter if letter.isprintable() else f"\\U{ord(letter):08x}"
        for letter in text
    )
    return f'"{inner}"'


def _place(tree: Keys, keys: Sequence[str]) -> tuple[int, int] | None:
    """Return after which line (from 1) an entry goes, and how far in; None where there is no room for it."""
    node: object = tree
    line = 0
    for key in keys:
        if not isinstance(node, Keys) or key not in node.entries:
            return None
        line, node = node.entries[key].spot.line, node.entries[key].value
    if not isinstance(node, Keys) or node.spot.line <= line or not node.entries:
        return None
    first = min((entry.spot for entry in node.entries.values()), key=lambda spot: (spot.line, spot.column))
    return (line, first.column - 1) if first == node.spot else None
