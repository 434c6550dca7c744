"""What is said over SFTP, byte for byte: version 3 (draft-ietf-secsh-filexfer-02) and OpenSSH's `statvfs`.

A packet is one byte of kind and a body; its length before it is the transport's affair. Names and targets are bytes
that are never decoded.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

VERSION: Final = 3
STATVFS: Final = b"statvfs@openssh.com"  # OpenSSH's PROTOCOL, section 4.4


class Kind(IntEnum):
    """Of packets: section 3 of the draft."""

    INIT = 1
    VERSION = 2
    OPEN = 3
    CLOSE = 4
    READ = 5
    LSTAT = 7
    FSTAT = 8
    OPENDIR = 11
    READDIR = 12
    REALPATH = 16
    STAT = 17
    READLINK = 19
    STATUS = 101
    HANDLE = 102
    DATA = 103
    NAME = 104
    ATTRS = 105
    EXTENDED = 200
    EXTENDED_REPLY = 201


class Code(IntEnum):
    """Of a status: section 7 of the draft."""

    OK = 0
    EOF = 1
    NO_SUCH_FILE = 2
    PERMISSION_DENIED = 3
    FAILURE = 4


_HAS_SIZE, _HAS_OWNERS, _HAS_MODE, _HAS_TIMES, _HAS_MORE = 1, 2, 4, 8, 0x80000000


@dataclass(frozen=True, kw_only=True)
class Attributes:
    """Of an entry: bytes, st_mode and whole seconds since 1970 as the server keeps them in 32 bits; None: not told."""

    size: int | None
    mode: int | None
    mtime: int | None


@dataclass(frozen=True, kw_only=True)
class Room:
    """What `statvfs` tells: sizes in bytes, and the filesystem's own number."""

    capacity: int
    free: int
    inodes: int
    inodes_free: int
    filesystem: int
    read_only: bool


class Answer:
    """One answer of the server. Its methods raise TransportError (MALFORMED) where it is of another kind or shape."""

    def __init__(self, packet: bytes) -> None:
        self._packet = packet
        self._at = 0
        self.kind = self._take(">B")
        self.number = self._take(">I")

    def code(self) -> int | None:
        """Return the code of a status; None for an answer that is none."""
        return self._take(">I") if self.kind == Kind.STATUS else None

    def handle(self) -> bytes:
        """Return a handle."""
        self._require(Kind.HANDLE)
        return self._text()

    def data(self) -> bytes:
        """Return a piece of a file's content."""
        self._require(Kind.DATA)
        return self._text()

    def attributes(self) -> Attributes:
        """Return attributes."""
        self._require(Kind.ATTRS)
        return self._attributes()

    def names(self) -> list[tuple[bytes, Attributes]]:
        """Return names with their attributes."""
        self._require(Kind.NAME)
        found = []
        for _ in range(self._take(">I")):
            name, _long = self._text(), self._text()
            found.append((name, self._attributes()))
        if not found:
            raise _malformed()
        return found

    def room(self) -> Room:
        """Return what `statvfs` told."""
        self._require(Kind.EXTENDED_REPLY)
        _size, unit, blocks, _free, available, inodes, _ifree, iavailable, number, flags, _longest = (
            self._take(">Q") for _ in range(11)
        )
        return Room(
            capacity=unit * blocks,
            free=unit * available,
            inodes=inodes,
            inodes_free=iavailable,
            filesystem=number,
            read_only=bool(flags & 1),
        )

    def _require(self, kind: Kind) -> None:
        if self.kind != kind:
            raise _malformed()

    def _take(self, shape: str) -> int:
        try:
            (value,) = struct.unpack_from(shape, self._packet, self._at)
        except struct.error as error:
            raise _malformed() from error
        self._at += struct.calcsize(shape)
        return int(value)

    def _text(self) -> bytes:
        length = self._take(">I")
        text = self._packet[self._at : self._at + length]
        if len(text) != length:
            raise _malformed()
        self._at += length
        return text

    def _attributes(self) -> Attributes:
        flags = self._take(">I")
        size = self._take(">Q") if flags & _HAS_SIZE else None
        if flags & _HAS_OWNERS:
            self._take(">Q")
        mode = self._take(">I") if flags & _HAS_MODE else None
        times = self._take(">Q") if flags & _HAS_TIMES else None
        if flags & _HAS_MORE:
            for _ in range(2 * self._take(">I")):
                self._text()
        return Attributes(size=size, mode=mode, mtime=None if times is None else times & 0xFFFFFFFF)


def hello() -> bytes:
    """Return the first packet."""
    return struct.pack(">BI", Kind.INIT, VERSION)


def understood(packet: bytes) -> frozenset[bytes]:
    """Return the extensions that the server offers in its first packet. Raises TransportError for another version."""
    reading = Answer(packet)  # its number is the version
    if reading.kind != Kind.VERSION or reading.number != VERSION:
        raise _malformed()
    offered = set()
    rest = packet[5:]
    while rest:
        name, rest = _cut(rest)
        _value, rest = _cut(rest)
        offered.add(name)
    return frozenset(offered)


def question(kind: Kind, number: int, *texts: bytes, more: bytes = b"") -> bytes:
    """Return a question of so many texts (paths, handles, an extension's name), and what its kind has after them."""
    body = b"".join(struct.pack(">I", len(text)) + text for text in texts)
    return struct.pack(">BI", kind, number) + body + more


def to_read() -> bytes:
    """Return what opening a file to read it has after the path: flags, and no attributes."""
    return struct.pack(">II", 1, 0)  # SSH_FXF_READ


def piece(offset: int, size: int) -> bytes:
    """Return what reading has after the handle: from where on, and how many bytes."""
    return struct.pack(">QI", offset, size)


def _cut(rest: bytes) -> tuple[bytes, bytes]:
    length = int.from_bytes(rest[:4], "big")
    if len(rest) < 4 + length:
        raise _malformed()
    return rest[4 : 4 + length], rest[4 + length :]


def _malformed() -> TransportError:
    return TransportError(GapKind.MALFORMED, "the box says something that is no SFTP of version 3")
