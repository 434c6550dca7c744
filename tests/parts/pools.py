"""A real ZFS pool in a file, served by `zfs-fuse`. Needs root and the device /dev/fuse.

One daemon serves the whole machine (its socket has a fixed place), so tests of several processes take turns.
"""

from __future__ import annotations

import fcntl
import os
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

POOL = "saltreach"
_LOCK = Path("/tmp/saltreach-zfs-fuse.lock")


@dataclass(frozen=True, kw_only=True)
class Pool:
    """The pool, mounted at `folder`."""

    folder: Path

    def zfs(self, *words: str) -> bytes:
        """Run `zfs` and return what it printed."""
        return subprocess.run(["zfs", *words], check=True, capture_output=True).stdout

    def figure(self, name: str, what: str) -> int:
        """A property of a dataset or snapshot, as zfs itself tells it."""
        return int(self.zfs("get", "-Hp", "-o", "value", what, name))


@pytest.fixture
def pool_of_zfs(tmp_path: Path) -> Iterator[Pool]:
    """Start the daemon and make an empty pool; both are gone after the test."""
    with _LOCK.open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        daemon = _started(tmp_path)
        try:
            yield _made(tmp_path)
        finally:
            _destroyed(tmp_path / "pool")
            daemon.kill()
            daemon.wait(30)


def _made(folder: Path) -> Pool:
    image, mounted = folder / "pool.img", folder / "pool"
    with image.open("wb") as file:
        file.truncate(128 << 20)
    # Without a cache file nothing of it is remembered, should a test be killed.
    command = ["zpool", "create", "-o", "cachefile=none", "-m", os.fspath(mounted), POOL, os.fspath(image)]
    subprocess.run(command, check=True, capture_output=True)
    return Pool(folder=mounted)


def _destroyed(mounted: Path) -> None:
    """Destroy the pool. What a mount namespace of a parallel test holds goes with the daemon: nothing remembers it."""
    until = time.monotonic() + 5
    while subprocess.run(["zpool", "destroy", "-f", POOL], check=False, capture_output=True).returncode != 0:
        if time.monotonic() >= until:
            subprocess.run(["umount", "--lazy", mounted], check=False, capture_output=True)
            return
        time.sleep(0.1)


def _started(folder: Path) -> subprocess.Popen[bytes]:
    """Start the daemon and wait until it answers; one that ended before may hold the socket for a moment."""
    until = time.monotonic() + 40
    command = ["zfs-fuse", "--no-daemon", "--no-kstat-mount", "--pidfile", os.fspath(folder / "pid")]
    while True:
        daemon = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        while daemon.poll() is None:
            if subprocess.run(["zpool", "list", "-H"], check=False, capture_output=True).returncode == 0:
                return daemon
            assert time.monotonic() < until, "zfs-fuse does not answer"
            time.sleep(0.2)
        assert time.monotonic() < until, "zfs-fuse does not start"
        time.sleep(0.5)
