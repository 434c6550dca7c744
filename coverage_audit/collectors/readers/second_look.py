"""A second look at named paths: size, times and birth time, or that they are gone.

The paths stand in the script itself, quoted; a script is one word of a command line and may not grow beyond
128 KiB (MAX_ARG_STRLEN, Linux execve(2)), so that many paths are asked for in several `batches`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from coverage_audit.collectors.framing import fields, framed, quoted
from coverage_audit.collectors.transport import TransportError
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.visible import visible

MOST_PATHS: Final = 10_000
_ROOM: Final = 100_000  # bytes of a script, quoted once more by the transport
_QUOTE_GROWTH: Final = 12  # bytes that one quote adds when it is quoted twice
_SCRIPT: Final = rb"""why=$({ cd -P -- "$r" && ls -a . >/dev/null; } 2>&1) || { printf 'refused\0%s\0' "$why"; set --; }
if [ -z "$why" ] && cd -P -- "$r"; then
if [ "$(stat --printf '%s\n' / 2>/dev/null)" = "" ]; then printf 'tool\0'; set --; fi
if [ -z "$(ls -A . | head -n 1)" ]; then printf 'empty\0'; fi
printf 'looks\0'
if [ $# -gt 0 ]; then stat --printf 'seen\0%n\0%s %.9Y %.9Z %.9W\0' -- "$@" 2>/dev/null; fi
for p; do
  if [ ! -e "$p" ] && [ ! -L "$p" ]; then
    case $(stat -- "$p" 2>&1 >/dev/null) in
    *': No such file or directory' | *': Not a directory') printf 'gone\0%s\0\0' "$p" ;;
    *) printf 'hidden\0%s\0\0' "$p" ;;
    esac
  fi
done
fi"""
_FIGURES: Final = re.compile(rb"(\d+) (-?\d+\.\d{9}) (-?\d+\.\d{9}) (-?\d+\.\d{9})")


def batches(root: str, paths: Sequence[bytes]) -> Iterator[tuple[bytes, ...]]:
    """Cut the paths so that each batch makes one script. Raises CollectionError above MOST_PATHS."""
    if len(paths) > MOST_PATHS:
        raise CollectionError(f"{len(paths)} paths are too many for a second look; {MOST_PATHS} are the most")
    batch: list[bytes] = []
    room = start = _ROOM - len(_SCRIPT) - _cost(root.encode("utf-8", "surrogateescape"))
    for path in paths:
        cost = _cost(path)
        if batch and cost > room:
            yield tuple(batch)
            batch, room = [], start
        batch.append(path)
        room -= cost
    if batch:
        yield tuple(batch)


def script(root: str, paths: Sequence[bytes], nonce: str) -> bytes:
    """Return the shell text that looks at `paths` (relative to `root`, one batch). NUL cannot be in a path."""
    if any(b"\0" in path for path in paths):
        raise CollectionError("a path cannot hold a NUL")
    words = b" ".join(quoted(b"./" + path) for path in paths)
    return framed(b"r=%s\nset -- %s\n%s" % (quoted(root.encode("utf-8", "surrogateescape")), words, _SCRIPT), nonce)


def parse(
    reply: bytes, exit_status: int | None, *, nonce: str, root: str, paths: Sequence[bytes]
) -> tuple[SecondLook, ...]:
    """Read the answer of one batch, in the order of `paths`.

    A path is gone (all None) only where the box said so of that very path; a path that it could not look at
    is left out. Raises TransportError where the box could not be asked, or where the root is empty now and
    paths are gone: then its volume is gone, not the files.
    """
    values = fields(reply, exit_status, nonce)
    if values[:1] == (b"refused",):
        raise TransportError(GapKind.MISSING, f"{root}: {visible(values[1].strip().rpartition(b': ')[2])}")
    if values[:1] == (b"tool",):
        raise TransportError(GapKind.NO_TOOL, "stat on this box has no --printf")
    empty = values[:1] == (b"empty",)
    values = values[1:] if empty else values
    if values[:1] != (b"looks",) or len(values) % 3 != 1:
        raise TransportError(GapKind.MALFORMED, f"{root}: the answer to a second look has no shape")
    found: dict[bytes, SecondLook] = {}
    for at in range(1, len(values), 3):
        look = _look(*values[at : at + 3])
        if look is not None:
            found.setdefault(look.path, look)
    if empty and any(look.mtime_ns is None for look in found.values()):
        raise TransportError(GapKind.NOT_MOUNTED, f"{root}: it is empty now")
    return tuple(found[path] for path in paths if path in found)


def _cost(word: bytes) -> int:
    return len(word) + 8 + _QUOTE_GROWTH * (word.count(b"'") + 2)


def _look(state: bytes, name: bytes, figures: bytes) -> SecondLook | None:
    path = name.removeprefix(b"./")
    if state == b"gone":
        return SecondLook(path=path, size=None, mtime_ns=None, ctime_ns=None, birth_ns=None)
    if state == b"hidden":
        return None
    shape = _FIGURES.fullmatch(figures)
    if state != b"seen" or not shape:
        raise TransportError(GapKind.MALFORMED, f"a second look at {visible(path)} has no shape")
    size, mtime, ctime, birth = shape.groups()
    born = _nanoseconds(birth)
    return SecondLook(
        path=path,
        size=int(size),
        mtime_ns=_nanoseconds(mtime),
        ctime_ns=_nanoseconds(ctime),
        birth_ns=born if born > 0 else None,  # stat prints 0 where the filesystem keeps none
    )


def _nanoseconds(text: bytes) -> int:
    return int(text.replace(b".", b""))  # nine decimals of a signed decimal number
