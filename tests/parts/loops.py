"""Real filesystems in files, mounted and unmounted by the test; all are gone with it. Needs root."""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pytest

_MAKE = {
    "ext4": ["mkfs.ext4", "-q", "-F"],
    "btrfs": ["mkfs.btrfs", "-q", "-f"],
    "vfat": ["mkfs.vfat"],
}


@dataclass(frozen=True, kw_only=True)
class LoopVolume:
    """A filesystem in a file, and the folder where it is mounted."""

    image: Path
    folder: Path

    def mount(self, *options: str) -> None:
        """Mount it."""
        command = ["mount", "-o", ",".join(("loop", *options)), str(self.image), str(self.folder)]
        subprocess.run(command, check=True)

    def unmount(self) -> None:
        """Take it away; an empty folder stays."""
        subprocess.run(["umount", str(self.folder)], check=True)

    def flip(self, file: Path) -> bytes:
        """Flip the first bit of a file on the drive alone, and return what it then holds there.

        In memory it stays what it was, as after a copy of tonight. Where a file's first block lies is asked of the
        filesystem: a large one may lie in several pieces.
        """
        subprocess.run(["sync", "-f", str(file)], check=True)
        was = file.read_bytes()
        extents = subprocess.check_output(["filefrag", "-b1", "-v", str(file)], text=True)
        (at,) = (int(found) for found in re.findall(r"^ +0: +0\.\. *\d+: +(\d+)\.\.", extents, re.MULTILINE))
        is_now = bytes([was[0] ^ 1]) + was[1:]
        with self.image.open("r+b") as image:
            image.seek(at)
            assert image.read(1) == was[:1], "it does not lie where the filesystem says"
            image.seek(at)
            image.write(is_now[:1])
        assert file.read_bytes() == was, "it lies in memory no more"
        return is_now


class MakeVolume(Protocol):
    """Makes a filesystem of a kind and mounts it at `folder`."""

    def __call__(self, folder: Path, kind: str = "ext4", size: int = 64, image: Path | None = None) -> LoopVolume:
        """Return it mounted; `size` is in MiB (btrfs takes 128 at the least), `image` the file that it lies in."""


@pytest.fixture
def make_volume(tmp_path: Path) -> Iterator[MakeVolume]:
    """Give a way to make and mount filesystems."""
    made: list[LoopVolume] = []

    def make(folder: Path, kind: str = "ext4", size: int = 64, image: Path | None = None) -> LoopVolume:
        image = image or tmp_path / f"volume-{len(made)}.img"
        with image.open("wb") as file:
            file.truncate(max(size, 128 if kind == "btrfs" else 0) << 20)
        subprocess.run([*_MAKE[kind], str(image)], check=True, capture_output=True)
        folder.mkdir(parents=True, exist_ok=True)
        volume = LoopVolume(image=image, folder=folder)
        volume.mount()
        made.append(volume)
        return volume

    yield make
    for volume in reversed(made):
        _unmount_all(volume.folder)


def _unmount_all(folder: Path) -> None:
    """Unmount all that lies there; an image in it lets go soon after the last process that had it mounted ended.

    A machine of another test that was started meanwhile has it mounted, too, for as long as that test lasts: then it is
    taken from sight, and goes with that machine.
    """
    until = time.monotonic() + 10
    while folder.is_mount():
        how = ["--lazy"] if time.monotonic() > until else []
        done = subprocess.run(["umount", *how, str(folder)], check=False, capture_output=True)
        assert not (how and done.returncode), done.stderr.decode()
        if done.returncode:
            time.sleep(0.05)
