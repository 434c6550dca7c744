"""From what the kernel shows of block devices to the physical drives below a volume."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from coverage_audit.collectors.framing import shown

# Best first: one name a drive, always from the first place that shows one, so that it stays the same.
_SOURCES: Final = ("wwid", "device/wwid", "serial", "device/serial", "device/cid", "udev", "lsblk")
_NO_NAME: Final = re.compile(r"[0\s.\-]*|(?:.*\W)?QM0000\d|0123456789ABCDEF|unknown|none|n/a", re.IGNORECASE)
_VIRTUAL: Final = "/devices/virtual/"
# A drive reached over iSCSI, Fibre Channel or NVMe over a network: what it names may be a file on any other box.
# Where the kernel hangs such drives into its tree: from memory.
_OVER_A_NETWORK: Final = re.compile(r"/host\d+/session\d+/|/rport-\d+:\d+-\d+/|/nvme-fabrics/")


@dataclass(kw_only=True)
class _Leaf:
    path: str
    names: dict[str, str] = field(default_factory=dict)
    rotational: str | None = None


@dataclass(frozen=True, kw_only=True)
class Drives:
    """The physical drives below a volume: empty where not every one of them was shown.

    `rotational` is None where not shown, mixed, or said by something that does not know (a paravirtual disk;
    a USB bridge that says so by default).
    """

    drives: frozenset[str] = frozenset()
    rotational: bool | None = None
    backing_file: str | None = None


def physical_drives(said: Iterable[tuple[str, bytes]]) -> Drives:
    """Read the `drive…` lines: one leaf of the device tree after another, each with what it shows.

    Names are serials or World Wide Names; a drive that shows none is named by its kernel path, `path:…`. One
    unresolved part makes the whole unknown: two volumes that share it would else seem apart.
    """
    leaves: list[_Leaf] = []
    backing, unresolved = None, False
    for name, value in said:
        if name == "drive":
            leaves.append(_Leaf(path=shown(value) or ""))
        elif name == "drive-unresolved":
            unresolved = True
        elif name == "drive-file":
            backing = backing or shown(value)
        elif name == "drive-rotational" and leaves:
            leaves[-1].rotational = shown(value)
        elif name.startswith("drive-name ") and leaves:
            leaves[-1].names.setdefault(name.removeprefix("drive-name "), " ".join((shown(value) or "").split()))
    names = [_name(leaf) for leaf in leaves]
    whole = not unresolved and all(names)
    return Drives(
        drives=frozenset(name for name in names if name) if whole else frozenset(),
        rotational=_rotational(leaves) if whole else None,
        backing_file=backing,
    )


def _name(leaf: _Leaf) -> str | None:
    if _OVER_A_NETWORK.search(leaf.path):
        return None
    for source in _SOURCES:
        name = leaf.names.get(source, "")
        if name and not _NO_NAME.fullmatch(name):
            return name
    if not leaf.path or _VIRTUAL in leaf.path:
        return None  # a device of the kernel's own making stands on something that it does not show
    return "path:" + leaf.path.removeprefix("/sys/devices/")


def _rotational(leaves: Sequence[_Leaf]) -> bool | None:
    answers = {_turns(leaf) for leaf in leaves}
    return answers.pop() if len(answers) == 1 else None


def _turns(leaf: _Leaf) -> bool | None:
    if "/virtio" in leaf.path or "/vbd-" in leaf.path:
        return None
    if leaf.rotational == "1":
        return None if "/usb" in leaf.path else True
    return False if leaf.rotational == "0" else None
