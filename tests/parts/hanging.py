"""A folder mounted over the network whose server falls silent: what touches it then sleeps in the kernel.

It is an sshfs of a real SSH server, mounted in a mount namespace of its own, so that no other test meets it.
Needs root.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import pytest

from tests.parts.processes import descendants
from tests.parts.sshd import Box, StartSshd
from tests.parts.waiting import wait_for


@dataclass(kw_only=True)
class HangingMount:
    """`source` as it is served, mounted at `folder` for whoever is started with `prefix`."""

    box: Box
    source: Path
    folder: Path
    inside: int
    """A process that lives in the namespace of the mount."""
    _silent: list[int] = field(default_factory=list)

    @property
    def prefix(self) -> tuple[str, ...]:
        """The start of a command that sees the mount."""
        return ("nsenter", "--target", str(self.inside), "--mount", "--")

    def stop(self) -> None:
        """Stop the server: from now on nothing that it is asked is answered, and no connection is closed."""
        self._silent = [self.box.pid]
        for number in self._silent:  # the list grows: one that is stopped starts no more
            os.kill(number, signal.SIGSTOP)
            self._silent += [one for one in descendants(self.box.pid) if one not in self._silent]

    def go_on(self) -> None:
        """Let the server go on."""
        while self._silent:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self._silent.pop(), signal.SIGCONT)

    def others_inside(self) -> dict[int, str]:
        """All processes in the namespace, save those that hold it and serve the mount, with their command lines."""
        own = Path(f"/proc/{self.inside}/ns/mnt").readlink()
        found = {}
        for entry in Path("/proc").glob("[0-9]*"):
            with contextlib.suppress(OSError):
                if (entry / "ns/mnt").readlink() == own:
                    found[int(entry.name)] = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        return {number: said for number, said in found.items() if number != self.inside and "sshfs" not in said}


class MountHanging(Protocol):
    """Serves `source` over SSH and mounts it at `folder`; there, all who use the mount have the rights of `account`."""

    def __call__(self, source: Path, folder: Path, account: str = "root") -> HangingMount:
        """Return it mounted and answering."""


@pytest.fixture
def mount_hanging(start_sshd: StartSshd) -> Iterator[MountHanging]:
    """Give a way to mount such a folder; with the test its server goes on and all of it ends."""
    mounts: list[HangingMount] = []
    started: list[subprocess.Popen[bytes]] = []

    def mount(source: Path, folder: Path, account: str = "root") -> HangingMount:
        box = start_sshd(f"Subsystem sftp /usr/sbin/runuser -u {account} -- /usr/lib/openssh/sftp-server")
        folder.mkdir(parents=True, exist_ok=True)
        hold = ["unshare", "--mount", "--propagation", "private", "sleep", "infinity"]
        holder = subprocess.Popen(hold)
        started.append(holder)
        mine = Path("/proc/self/ns/mnt").readlink()
        assert wait_for(lambda: Path(f"/proc/{holder.pid}/ns/mnt").readlink() != mine)
        made = HangingMount(box=box, source=source, folder=folder, inside=holder.pid)
        access = box.access
        options = (
            f"port={access.port},IdentityFile={access.identity_file},UserKnownHostsFile={access.known_hosts},"
            "BatchMode=yes,dir_cache=no,max_conns=1"
        )
        served = f"{access.user}@127.0.0.1:{source}"
        command = [*made.prefix, "sshfs", "-f", "-F", "/dev/null", "-o", options, served, str(folder)]
        started.append(subprocess.Popen(command, stdin=subprocess.DEVNULL))
        mounts.append(made)
        table = Path(f"/proc/{holder.pid}/mountinfo")
        assert wait_for(lambda: f" {folder} " in table.read_text())
        subprocess.run([*made.prefix, "ls", str(folder)], check=True, capture_output=True, timeout=30)
        return made

    yield mount
    for one in mounts:
        one.go_on()
        subprocess.run([*one.prefix, "umount", "--lazy", str(one.folder)], check=False)
    for process in reversed(started):
        process.kill()
        process.wait(10)
