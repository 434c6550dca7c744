"""From bytes to a tree with places: YAML 1.2 without the parts that can surprise.

Refused, each with its line: anchors and aliases, tags, directives, a second document, keys that are no text, a key
given twice, a value left empty, deep nesting, a file that is not UTF-8 or too large to be an estate. The tree is built
from the parser's events without recursion, so that no file can exhaust the stack.
"""

from __future__ import annotations

import re
from codecs import BOM_UTF8
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, NoReturn

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionEndEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    Event,
    MappingStartEvent,
    NodeEvent,
    ScalarEvent,
)

from coverage_audit.errors import EstateError
from coverage_audit.estate.mistakes import Mistakes, shown, shown_name
from coverage_audit.estate.nodes import Entry, Items, Keys, Node, PlainScalar, Scalar, Spot

LARGEST_FILE: Final = 256 * 1024
"""The largest estate file read, in bytes: a thousand devices; the parser takes seconds for more."""

DEEPEST: Final = 20
"""The deepest nesting read; an estate needs seven levels."""

# The characters that YAML 1.2.2 section 5.1 lets a file contain (from memory; the byte order mark only in front).
_FORBIDDEN: Final = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")

# What escapes in double quotes can bring in, and no name, path or page can carry.
_UNWRITABLE: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")

# Tag resolution of the core schema, YAML 1.2.2 section 10.3.2 (from memory; checked against ruamel in the tests).
_NULL: Final = re.compile(r"~|null|Null|NULL|")
_BOOL: Final = re.compile(r"true|True|TRUE|false|False|FALSE")
_INT: Final = re.compile(r"[-+]?[0-9]{1,18}")
_FLOAT: Final = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]{1,18}(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]{1,3})?")


class _BeyondReadingError(Exception):
    """A mistake behind which the rest of the file cannot be read; it is noted already."""


def read_text(file: Path) -> str:
    """Return the file's text (a byte order mark is dropped).

    Raises EstateError when it cannot be read, is too large, or is not UTF-8 text (with line and column).
    """
    try:
        with file.open("rb") as opened:
            data = opened.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        why = error.strerror if isinstance(error, OSError) else "no file can have this name"
        raise EstateError(f"{shown_name(file)}: cannot be read: {why} (name an estate with --estate)") from error
    data = data.removeprefix(BOM_UTF8)
    if len(data) > LARGEST_FILE:
        raise EstateError(f"{shown_name(file)}: is larger than 256 KiB (an estate is a short text: is it this file?)")
    mistakes = Mistakes()
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8", "replace")
        mistakes.add(_spot_after(before), f"byte 0x{data[error.start]:02x} is not UTF-8 (save the file as UTF-8)")
        mistakes.raise_for(file)
    forbidden = _FORBIDDEN.search(text)
    if forbidden is not None:
        code = f"U+{ord(forbidden.group()):04X}"
        mistakes.add(_spot_after(text[: forbidden.start()]), f"the character {code} is not allowed (remove it)")
        mistakes.raise_for(file)
    return text


def _spot_after(before: str) -> Spot:
    lines = re.split(r"\r\n|\r|\n", before)
    return Spot(len(lines), len(lines[-1]) + 1)


def read_tree(text: str, mistakes: Mistakes) -> Keys | None:
    """Return the file as a tree, noting what is wrong; None where nothing behind a mistake can be read."""
    builder = _Builder(mistakes)
    try:
        for event in _events(text, mistakes):
            builder.take(event)
    except _BeyondReadingError:
        return None
    if builder.root is None or (isinstance(builder.root, Scalar) and builder.root.value is None):
        mistakes.add(Spot(1, 1), "the file is empty (declare at least sites, devices, policies and datasets)")
    elif not isinstance(builder.root, Keys):
        mistakes.add(builder.root.spot, "the file is no mapping (begin with 'estate: NAME')")
    else:
        return builder.root
    return None


def _events(text: str, mistakes: Mistakes) -> Iterator[Event]:
    try:
        yield from YAML(typ="safe", pure=True).parse(text)
    except YAMLError as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        spot = Spot(mark.line + 1, mark.column + 1) if mark is not None else Spot(1, 1)
        # Only the parser's own words: its excerpt of the file could hold anything.
        problem = getattr(error, "problem", None) or "it cannot be read"
        mistakes.add(spot, f"this is no YAML: {problem} (often a missing space, quote or indentation just before)")
        raise _BeyondReadingError from error


@dataclass
class _Open:
    """A collection that is being filled. `key` waits for its value; without one, what hangs on a bad key is dropped."""

    node: Items | Keys
    key: Entry | None = None
    expects_key: bool = True


@dataclass
class _Builder:
    """Takes the parser's events one by one and grows the tree."""

    mistakes: Mistakes
    root: Node | None = None
    documents: int = 0
    stack: list[_Open] = field(default_factory=list)

    def take(self, event: Event) -> None:
        spot = Spot(event.start_mark.line + 1, event.start_mark.column + 1)
        if isinstance(event, DocumentStartEvent):
            self._start_document(event, spot)
        elif isinstance(event, CollectionEndEvent):
            self.stack.pop()
        elif isinstance(event, NodeEvent):
            self._refuse_decoration(event, spot)
            self._open_or_place(event, spot)

    def _start_document(self, event: DocumentStartEvent, spot: Spot) -> None:
        self.documents += 1
        if event.version or event.tags:
            self.mistakes.add(spot, "a directive (%...) is not allowed (remove the line that begins with %)")
        if self.documents > 1:
            self._stop(spot, "a second document begins (an estate is one: remove the '---' and what follows)")

    def _refuse_decoration(self, event: NodeEvent, spot: Spot) -> None:
        tag = getattr(event, "tag", None)
        if tag is not None:
            self.mistakes.add(spot, f"the tag {shown(str(tag))} is not allowed (write the value plainly)")
        if event.anchor is not None and not isinstance(event, AliasEvent):
            self.mistakes.add(spot, f"the anchor {shown('&' + event.anchor)} is not allowed (remove it)")

    def _open_or_place(self, event: NodeEvent, spot: Spot) -> None:
        if isinstance(event, CollectionStartEvent):
            node = Keys(spot) if isinstance(event, MappingStartEvent) else Items(spot)
            if len(self.stack) >= DEEPEST:
                self._stop(spot, f"nested more than {DEEPEST} deep (an estate needs seven levels)")
            self._place(node)
            self.stack.append(_Open(node))
        elif isinstance(event, AliasEvent):
            self.mistakes.add(spot, f"the alias {shown('*' + str(event.anchor))} is not allowed (write the value out)")
            self._place(Scalar(spot, None, unread=True))
        elif isinstance(event, ScalarEvent):
            bad = _UNWRITABLE.search(event.value)
            if bad is not None:
                self.mistakes.add(spot, f"the character U+{ord(bad.group()):04X} is not allowed in a value (remove it)")
            self._place(self._scalar(event, spot))

    def _is_key(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1].node, Keys) and self.stack[-1].expects_key

    def _scalar(self, event: ScalarEvent, spot: Spot) -> Scalar:
        if self._is_key() or event.style is not None:  # a key is text; so is what stands in quotes
            return Scalar(spot, event.value)
        value = resolve(event.value)
        if value is None and self.stack:
            pending = self.stack[-1].key
            name = "the value" if pending is None else shown(pending.key)
            self.mistakes.add(spot if pending is None else pending.spot, f"{name} is empty (give a value or remove it)")
        return Scalar(spot, value, unread=value is None)

    def _place(self, node: Node) -> None:
        if not self.stack:
            self.root = node
            return
        top = self.stack[-1]
        if isinstance(top.node, Items):
            top.node.values.append(node)
        elif top.expects_key:
            self._take_key(top, node)
        else:
            if top.key is not None:
                top.node.entries[top.key.key] = Entry(top.key.key, top.key.spot, node)
            top.key, top.expects_key = None, True

    def _take_key(self, top: _Open, node: Node) -> None:
        top.expects_key = False
        if not isinstance(node, Scalar) or not isinstance(node.value, str):
            if not (isinstance(node, Scalar) and node.unread):
                self.mistakes.add(node.spot, "a key must be plain text (write 'key: value')")
            return
        entries = top.node.entries if isinstance(top.node, Keys) else {}
        first = entries.get(node.value)
        if first is not None:
            key = shown(node.value)
            self.mistakes.add(node.spot, f"{key} is given twice (first in line {first.spot.line}: keep one)")
            return
        top.key = Entry(node.value, node.spot, node)

    def _stop(self, spot: Spot, message: str) -> NoReturn:
        self.mistakes.add(spot, message)
        raise _BeyondReadingError


def resolve(text: str) -> PlainScalar:
    """Return what an unquoted scalar means: nothing, truth, a number, or else its text."""
    if _NULL.fullmatch(text):
        return None
    if _BOOL.fullmatch(text):
        return text.lower() == "true"
    if _INT.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        return float(text)
    return text
