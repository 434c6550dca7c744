"""Subvolumes on a mounted btrfs, made by its own tool. Needs root."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path


def btrfs(*words: str | Path) -> bytes:
    """Run `btrfs` and return what it printed."""
    return subprocess.run(["btrfs", *words], check=True, capture_output=True).stdout


def subvolume(folder: Path) -> Path:
    """Make a subvolume."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    btrfs("subvolume", "create", folder)
    return folder


def snapshot(source: Path, folder: Path) -> Path:
    """Make a read-only snapshot."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    btrfs("subvolume", "snapshot", "-r", source, folder)
    return folder


def writable_snapshot(source: Path, folder: Path) -> Path:
    """Make a snapshot that may be written."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    btrfs("subvolume", "snapshot", source, folder)
    return folder


def sent(source: Path, folder: Path, cut: int | None = None) -> None:
    """Send a snapshot and receive it below `folder`; only its first `cut` bytes where that is given."""
    folder.mkdir(parents=True, exist_ok=True)
    stream = btrfs("send", "-q", source)
    command = ["btrfs", "receive", os.fspath(folder)]
    subprocess.run(command, input=stream[:cut], check=cut is None, capture_output=True)


def set_writable(folder: Path, *, writable: bool) -> None:
    """Make a subvolume writable or read-only, by force where it was received."""
    btrfs("property", "set", "-f", folder, "ro", str(not writable).lower())
