"""The sandbox of a systemd unit, as far as it can be had without systemd: its filters, its capabilities, its mounts.

`sandboxed(unit, writable...)` gives the start of a command. That runs this file three times: as root in a mount
namespace of its own, then as another account, which loads the filters with libseccomp and becomes the command.
What is emulated: ProtectSystem=strict (of the root filesystem), User=, NoNewPrivileges=, SystemCallFilter=,
SystemCallErrorNumber=, RestrictAddressFamilies=, MemoryDenyWriteExecute=, and CapabilityBoundingSet= with
AmbientCapabilities=.
"""

from __future__ import annotations

import ctypes
import errno
import os
import socket
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

ACCOUNT: Final = 65_534
"""The number of an account without rights of its own."""
_ALLOW: Final = 0x7FFF_0000  # seccomp.h of libseccomp: SCMP_ACT_ALLOW, SCMP_ACT_ERRNO, the order of `enum scmp_compare`
_REFUSE: Final = 0x0005_0000
_EQUAL: Final = 4
_MASKED_EQUAL: Final = 7
_WRITE: Final = 2  # sys/mman.h: PROT_WRITE, PROT_EXEC
_EXECUTE: Final = 4


class _Compared(ctypes.Structure):
    """`struct scmp_arg_cmp`: which argument, how, and with what."""

    _fields_ = (
        ("argument", ctypes.c_uint),
        ("how", ctypes.c_int),
        ("first", ctypes.c_uint64),
        ("second", ctypes.c_uint64),
    )


def directives(unit: Path, section: str) -> dict[str, list[str]]:
    """Return what a section of a unit file sets, every value of each name in order."""
    found: dict[str, list[str]] = {}
    here = ""
    for line in unit.read_text(encoding="utf-8").splitlines():
        text = line.strip()
        if text.startswith("["):
            here = text.strip("[]")
        elif here == section and "=" in text and not text.startswith(("#", ";")):
            name, _, value = text.partition("=")
            found.setdefault(name.strip(), []).append(value.strip())
    return found


def allowed_calls(filters: Sequence[str]) -> frozenset[str]:
    """Return the system calls that the values of SystemCallFilter= leave, an allow list first."""
    left: set[str] = set()
    for value in filters:
        away = value.startswith("~")
        calls = {call for word in value.lstrip("~").split() for call in _calls_of(word)}
        left = left - calls if away else left | calls
    return frozenset(left)


def _calls_of(word: str) -> set[str]:
    if not word.startswith("@"):
        return {word}
    listed = subprocess.run(["systemd-analyze", "syscall-filter", word], capture_output=True, text=True, check=True)
    members = [line.strip() for line in listed.stdout.splitlines()[1:]]
    return {call for member in members if member and not member.startswith("#") for call in _calls_of(member)}


def sandboxed(unit: Path, *writable: Path) -> tuple[str, ...]:
    """Return the start of a command that runs the rest of it in the unit's sandbox (needs root)."""
    return ("unshare", "--mount", sys.executable, __file__, "mount", str(unit), ":".join(map(str, writable)))


def _mount(unit: Path, writable: str, command: Sequence[str]) -> None:
    subprocess.run(["mount", "--make-rprivate", "/"], check=True)
    for folder in writable.split(":"):
        os.chown(folder, ACCOUNT, ACCOUNT)
        subprocess.run(["mount", "--bind", folder, folder], check=True)
    subprocess.run(["mount", "-o", "remount,ro,bind", "/"], check=True)
    said = directives(unit, "Service")
    kept = "".join(f",+{name.removeprefix('CAP_').lower()}" for name in said["CapabilityBoundingSet"][0].split())
    become = ["setpriv", f"--reuid={ACCOUNT}", f"--regid={ACCOUNT}", "--clear-groups", "--no-new-privs"]
    become += [f"--{which}=-all{kept}" for which in ("inh-caps", "ambient-caps", "bounding-set")]
    _become([*become, sys.executable, __file__, "filter", str(unit), writable, *command])


def _filter(unit: Path, command: Sequence[str]) -> None:
    said = directives(unit, "Service")
    refusal = getattr(errno, said["SystemCallErrorNumber"][0])
    library = ctypes.CDLL("libseccomp.so.2")
    library.seccomp_init.restype = ctypes.c_void_p
    context = ctypes.c_void_p(library.seccomp_init(_REFUSE | refusal))
    for call in allowed_calls(said["SystemCallFilter"]):
        number = library.seccomp_syscall_resolve_name(call.encode())
        for rule in _rules(said, call) if number >= 0 else ():
            compared = (_Compared * len(rule))(*rule)
            if library.seccomp_rule_add_array(context, _ALLOW, number, len(rule), compared) != 0:
                sys.exit(f"no rule could be made for {call}")
    if library.seccomp_load(context) != 0:
        sys.exit("the filter could not be loaded")
    _become(command)


def _rules(said: Mapping[str, Sequence[str]], call: str) -> list[list[_Compared]]:
    """Return under which conditions a call is allowed (seccomp-util.c of systemd: the same arguments are looked at)."""
    if call == "socket":
        families = said["RestrictAddressFamilies"][0].split()
        return [[_Compared(0, _EQUAL, getattr(socket, family), 0)] for family in families]
    if said.get("MemoryDenyWriteExecute") == ["yes"]:
        if call == "mmap":
            return [[_Compared(2, _MASKED_EQUAL, bit, 0)] for bit in (_WRITE, _EXECUTE)]
        if call in {"mprotect", "pkey_mprotect"}:
            return [[_Compared(2, _MASKED_EQUAL, _EXECUTE, 0)]]
    return [[]]


def _become(command: Sequence[str]) -> None:
    os.execvp(command[0], list(command))  # noqa: S606 - this process is to be the command


if __name__ == "__main__":
    if sys.argv[1] == "mount":
        _mount(Path(sys.argv[2]), sys.argv[3], sys.argv[4:])
    else:
        _filter(Path(sys.argv[2]), sys.argv[4:])
