"""A tree of 20,000 entries in which everything is what breaks a listing: names, kinds, times, and forged records.

Each way of listing has its own form of a record; for each, a folder's name holds a perfect one, newline and all.
"""

# ruff: noqa: PTH211 - pathlib knows no bytes

from __future__ import annotations

import os
import socket
from pathlib import Path
from typing import Final

NAMES: Final = (
    b"two\nlines",
    b"ends in a newline\n",
    b"\nbegins with one",
    b"a\ttab",
    b"a 'single' and a \"double\" `grave`",
    b"back\\slash",
    b"\\",
    b"\xff\xfe no utf-8",
    b"-delete",
    b"--",
    b"$(reboot)",
    b"*",
    b"...",
    b".. ",
    b" .",
    b"..\n",
    b"%s%n%P%N",
    b"{}",
    b" blanks ",
    b"\x1b[2Jescape",
    "\u202egnp.exe\u202c".encode(),
    "\u2067right to left".encode(),
    b"x" * 255,
    b"Nightjar",
    b"nightjar",
    "caf\u00e9".encode(),
    "cafe\u0301".encode(),
    b"' -> 'arrow",
)
FORGED: Final = b"forged-by-a-name"
_HEAD_C: Final = (
    b"81a4             7           8       1  1700000000 2023-11-14 22:13:20.000000000 +0000"
    b"  1700000000 2023-11-14 22:13:20.000000000 +0000      65024 "
)
_HEAD_F: Final = b"81a4             7           8       1  1700000000.000000000  1700000000.000000000      65024 "
FORGERIES: Final = (
    b"a\n" + _HEAD_C + b".",  # and below it /forged…: a whole line of stat but for the mark, which no name can hold
    b"c\n" + _HEAD_F + b".",
    b"d\nf            7           8       1 1700000000.0000000000 1700000000.0000000000      65024 ",
    b"e\n0 1",
    b"find: .",
    b"g\nstat: can't stat '.",
)
TIMES: Final = (
    0,
    1,
    -1,
    -500_000_000,
    -86_400_500_000_000,
    1_700_000_000_123_456_789,
    2**32 * 10**9 + 1,
    4_000_000_000_250_000_000,
)
ENTRIES: Final = 20_000


def a_hostile_tree(root: Path) -> Path:
    """Make it below `root`, which must not exist; return the root."""
    root.mkdir()
    top = os.fsencode(root)
    _names(top)
    _forgeries(top)
    _kinds(top)
    _times(top)
    folder = top
    made = sum(len(folders) + len(files) for _at, folders, files in os.walk(top))
    for number in range(ENTRIES - made):
        if number % 400 == 0:
            folder = top + b"/many-%02d" % (number // 400)
            os.mkdir(folder)  # noqa: PTH102 - pathlib knows no bytes
            continue
        name = NAMES[number % len(NAMES)][:240] + b"%d" % number
        _write(folder + b"/" + name, b"")
    return root


def _names(top: bytes) -> None:
    for name in NAMES:
        inside = top + b"/names/" + name
        os.makedirs(inside)  # noqa: PTH103 - pathlib knows no bytes
        for inner in NAMES:
            _write(inside + b"/" + inner, inner)
        os.symlink(name[:200] * 3, inside + b"/a link")


def _forgeries(top: bytes) -> None:
    for number, name in enumerate(FORGERIES):
        folder = top + b"/forged-%d/" % number + name
        os.makedirs(folder + b"/" + FORGED + b"/r")  # noqa: PTH103 - pathlib knows no bytes
        _write(folder + b"/" + FORGED + b"/r/f", b"")


def _kinds(top: bytes) -> None:
    folder = top + b"/kinds"
    os.mkdir(folder)  # noqa: PTH102 - pathlib knows no bytes
    with Path(os.fsdecode(folder + b"/sparse")).open("wb") as file:
        file.truncate(10**9)
    _write(folder + b"/first name", b"one file")
    os.link(folder + b"/first name", folder + b"/second name")
    os.mkfifo(folder + b"/pipe")
    with socket.socket(socket.AF_UNIX) as made:
        here = os.open(folder, os.O_RDONLY)
        made.bind(f"/proc/self/fd/{here}/socket")
        os.close(here)
    os.symlink(b"no/where", folder + b"/dangling")
    os.symlink(b"..", folder + b"/up")
    os.symlink(b"first\n" + _HEAD_C + b"././second/\n", folder + b"/forging target")
    os.symlink(b"ends in a newline\n", folder + b"/newline")
    os.symlink(b"\xff' -> '\xfe", folder + b"/arrow")


def _times(top: bytes) -> None:
    folder = top + b"/times"
    os.mkdir(folder)  # noqa: PTH102 - pathlib knows no bytes
    for time in TIMES:
        _write(folder + b"/%d" % time, b"")
        os.utime(folder + b"/%d" % time, ns=(time, time))


def _write(path: bytes, content: bytes) -> None:
    with open(path, "wb") as file:  # noqa: PTH123 - pathlib knows no bytes
        file.write(content)
