"""Boxes with BusyBox alone: a folder of its tools for a PATH, and a real SSH server in a root that has nothing else.

The root holds a static BusyBox, the server with what it is linked to, the devices that a shell needs, /proc, and the
test's own folder at its own path. Needs root.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from shlex import quote
from typing import Protocol

import pytest

from tests.parts.sshd import Box, StartSshd

TOOLS = (
    "ash awk basename cat cut date df dirname echo env expr find grep head hostname id ls md5sum mkdir mv od printf "
    "pwd readlink rm sed sh sha1sum sha256sum sha512sum sleep sort stat tail test timeout touch tr true uname wc ["
)
_OWN_ROOT = """
set -e
root={root}
mount -t tmpfs -o mode=755 busybox "$root"
cd "$root"
mkdir -p proc dev tmp etc bin usr/sbin usr/lib run/sshd var/empty .{shared} lib lib64
mount -t proc proc proc
for d in null zero random urandom tty; do touch dev/$d; mount --bind /dev/$d dev/$d; done
cp {busybox} bin/busybox
for a in {tools}; do ln -s busybox "bin/$a"; done
printf 'root:x:0:0:root:/:/bin/sh\\nsshd:x:101:65534::/run/sshd:/bin/false\\n' >etc/passwd
printf 'root:x:0:\\nnogroup:x:65534:\\n' >etc/group
cp {files} tmp/
for f in {files}; do mkdir -p ".${{f%/*}}"; mv "tmp/${{f##*/}}" ".$f"; done
mount --rbind {shared} .{shared}
hostname {name}
exec {prefix} chroot "$root" "$@"
"""


class StartBusybox(Protocol):
    """Starts a server in a root with BusyBox alone; `prefix` is the start of a command that runs it."""

    def __call__(self, name: str, *, prefix: Sequence[str] = ()) -> Box:
        """Return the running box."""


@pytest.fixture
def start_busybox(start_sshd: StartSshd, tmp_path: Path) -> StartBusybox:
    """Give a way to start such boxes; all end with the test."""

    def start(name: str, *, prefix: Sequence[str] = ()) -> Box:
        root = tmp_path / f"busybox-{name}"
        root.mkdir()
        script = _OWN_ROOT.format(
            root=quote(str(root)),
            shared=quote(str(tmp_path)),
            busybox=quote(shutil.which("busybox") or "busybox"),
            tools=TOOLS,
            files=" ".join(map(quote, _server_files())),
            name=quote(name),
            prefix=" ".join(map(quote, prefix)),
        )
        return start_sshd(
            within=("unshare", "--mount", "--uts", "--propagation", "private", "sh", "-c", script, "busybox")
        )

    return start


def a_path_of_busybox(folder: Path) -> Path:
    """Make a folder that holds BusyBox's tools by their names."""
    folder.mkdir()
    for tool in TOOLS.split():
        (folder / tool).symlink_to(shutil.which("busybox") or "busybox")
    return folder


def _server_files() -> list[str]:
    """The server, what it runs, and the libraries of both."""
    programs = ["/usr/sbin/sshd", "/usr/lib/openssh/sftp-server"]
    programs += [str(found) for found in Path("/usr/lib/openssh").glob("sshd-*")]
    files = set(programs)
    for program in programs:
        words = subprocess.check_output(["ldd", program], text=True).split()
        files |= {word for word in words if word.startswith("/")}
    return sorted(files)
