"""The file as a tree in which every key and value knows its line and column.

The checks read it through accessors that answer None for what is not there or of another kind: such a mistake is
told once, where the shape is checked, and hides no other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

PlainScalar = str | int | float | bool | None
Plain = PlainScalar | Sequence["Plain"] | Mapping[str, "Plain"]
"""The tree without its places."""


@dataclass(frozen=True, order=True)
class Spot:
    """A place in the file, counted from 1 as editors do."""

    line: int
    column: int


@dataclass(frozen=True)
class Scalar:
    """A single value. `unread` marks one that has been reported already (empty, or an alias)."""

    spot: Spot
    value: PlainScalar
    unread: bool = False


@dataclass(frozen=True)
class Items:
    """A list of values."""

    spot: Spot
    values: list[Node] = field(default_factory=list)


@dataclass(frozen=True)
class Entry:
    """One key with its value."""

    key: str
    spot: Spot
    value: Node


@dataclass(frozen=True)
class Keys:
    """A mapping, in the order of the file."""

    spot: Spot
    entries: dict[str, Entry] = field(default_factory=dict)

    def __iter__(self) -> Iterator[Entry]:
        """Go through the entries in the order of the file."""
        return iter(self.entries.values())

    def keys_at(self, key: str) -> Keys:
        """Return the mapping under this key, an empty one where there is none."""
        entry = self.entries.get(key)
        return entry.value if entry is not None and isinstance(entry.value, Keys) else Keys(self.spot)

    def mappings_at(self, key: str) -> Iterator[tuple[Entry, Keys]]:
        """Go through the mappings in the mapping under this key: each with the entry that names it."""
        for entry in self.keys_at(key):
            if isinstance(entry.value, Keys):
                yield entry, entry.value

    def items_at(self, key: str) -> list[Node]:
        """Return the list under this key, an empty one where there is none."""
        entry = self.entries.get(key)
        return entry.value.values if entry is not None and isinstance(entry.value, Items) else []

    def text_at(self, key: str) -> Text | None:
        """Return the text under this key, None where there is none."""
        entry = self.entries.get(key)
        return None if entry is None else as_text(entry.value)


Node = Scalar | Items | Keys


@dataclass(frozen=True)
class Text:
    """A piece of text with its place."""

    spot: Spot
    value: str


def as_text(node: Node) -> Text | None:
    """Return the node as text, None where it is none."""
    if isinstance(node, Scalar) and isinstance(node.value, str):
        return Text(node.spot, node.value)
    return None


def plain(node: Node) -> Plain:
    """Return the tree without its places."""
    match node:
        case Scalar():
            return node.value
        case Items():
            return [plain(value) for value in node.values]
        case Keys():
            return {entry.key: plain(entry.value) for entry in node}


@dataclass(frozen=True)
class Found:
    """What lies at the end of a way through the tree: the value, and the spot to point at.

    `key_spot` is that of the key (or of the list's item) that holds the value.
    """

    node: Node
    key_spot: Spot


def find(root: Node, way: Sequence[str | int]) -> Found:
    """Follow a way of keys and numbers as far as it goes; parts that the tree does not have are passed over."""
    found = Found(root, root.spot)
    for part in way:
        node = found.node
        if isinstance(node, Keys) and isinstance(part, str) and part in node.entries:
            found = Found(node.entries[part].value, node.entries[part].spot)
        elif isinstance(node, Items) and isinstance(part, int) and part < len(node.values):
            found = Found(node.values[part], node.values[part].spot)
    return found
