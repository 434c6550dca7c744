"""Real SSH servers on loopback, each with keys, files and a port of its own, ended by their process numbers."""

from __future__ import annotations

import getpass
import os
import pwd
import socket
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import pytest

from coverage_audit.estate.access import SshAccess
from tests.parts.processes import end_with_descendants
from tests.parts.waiting import wait_for

_CONFIG = """
ListenAddress 127.0.0.1
AuthorizedKeysFile {folder}/authorized_keys
StrictModes no
UsePAM no
PasswordAuthentication no
KbdInteractiveAuthentication no
PermitRootLogin yes
PidFile none
LogLevel ERROR
MaxStartups 100
PrintMotd no
SetEnv {home}
"""


@dataclass(frozen=True, kw_only=True)
class Box:
    """A running server and how the auditor reaches it. `folder` holds its host keys and lists of keys."""

    folder: Path
    port: int
    access: SshAccess
    pid: int

    def host_key(self, kind: str = "ed25519") -> str:
        """The line of a public host key: type and base64."""
        return " ".join((self.folder / f"host_{kind}.pub").read_text().split()[:2])

    def fingerprint(self, kind: str = "ed25519") -> str:
        """The fingerprint as OpenSSH's own tool prints it."""
        out = subprocess.check_output(["ssh-keygen", "-l", "-E", "sha256", "-f", str(self.folder / f"host_{kind}.pub")])
        return out.split()[1].decode()

    @property
    def known_hosts(self) -> Path:
        """The auditor's known_hosts for this box."""
        return self.folder / "known_hosts"

    def behind(self, port: int) -> SshAccess:
        """The same box reached at another port, its key known there too."""
        with self.known_hosts.open("a") as file:
            file.write(f"[127.0.0.1]:{port} {self.host_key()}\n")
        return replace(self.access, port=port)


class StartSshd(Protocol):
    """Starts a server: extra lines of its configuration, the kinds of its host keys.

    `login_shell` (needs root) gives the account another login shell, in a mount namespace of the server's own.
    `within` is the start of a command that runs the server, instead of the server by itself.
    """

    def __call__(
        self,
        *lines: str,
        kinds: tuple[str, ...] = ("ed25519",),
        known: bool = True,
        login_shell: str | None = None,
        within: Sequence[str] = (),
    ) -> Box:
        """Return the running box."""


@pytest.fixture
def start_sshd(tmp_path: Path) -> Iterator[StartSshd]:
    """Give a way to start servers; all are ended with the test."""
    boxes: list[subprocess.Popen[bytes]] = []

    def start(
        *lines: str,
        kinds: tuple[str, ...] = ("ed25519",),
        known: bool = True,
        login_shell: str | None = None,
        within: Sequence[str] = (),
    ) -> Box:
        folder = tmp_path / f"box-{len(boxes)}"
        folder.mkdir()
        make_key(folder / "auditor")
        (folder / "authorized_keys").write_bytes((folder / "auditor.pub").read_bytes())
        for kind in kinds:
            make_key(folder / f"host_{kind}", kind)
        (folder / "home").mkdir()
        home = f"HOME={folder}/home"  # what starts up a shell in this machine's own home is no part of a test
        config = _CONFIG.format(folder=folder, home=home)
        config += "".join(f"HostKey {folder}/host_{kind}\n" for kind in kinds)
        own = [f"{line} {home}" if line.startswith("SetEnv ") else line for line in lines]
        (folder / "sshd_config").write_text("\n".join(own) + config)  # of two values the first holds
        process, port = _listening(folder, _with_shell(folder, login_shell) if login_shell else within)
        boxes.append(process)
        (folder / "ssh_config").touch()
        access = SshAccess(
            host="127.0.0.1",
            user=getpass.getuser(),
            port=port,
            identity_file=str(folder / "auditor"),
            known_hosts=str(folder / "known_hosts"),
            config_file=str(folder / "ssh_config"),
        )
        box = Box(folder=folder, port=port, access=access, pid=process.pid)
        if known:
            box.known_hosts.write_text(f"[127.0.0.1]:{port} {box.host_key(kinds[0])}\n")
        return box

    yield start
    for process in boxes:
        end_with_descendants(process)


@pytest.fixture
def box(start_sshd: StartSshd) -> Box:
    """One ordinary box whose key is known."""
    return start_sshd()


def make_key(file: Path, kind: str = "ed25519", passphrase: str = "", form: str = "RFC4716") -> None:
    """Make a key pair as its owner would."""
    command = ["ssh-keygen", "-q", "-t", kind, "-N", passphrase, "-C", "auditor", "-f", str(file)]
    subprocess.run([*command, "-m", form] if form != "RFC4716" else command, check=True)


def free_port() -> int:
    """A port that nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _listening(folder: Path, within: Sequence[str]) -> tuple[subprocess.Popen[bytes], int]:
    if os.geteuid() == 0:
        Path("/run/sshd").mkdir(mode=0o755, exist_ok=True)  # where a server of root's keeps nothing, and demands it
    for _ in range(5):  # another test may take the port first
        port = free_port()
        command = [*within, "/usr/sbin/sshd", "-D", "-e", "-f", str(folder / "sshd_config"), "-p", str(port)]
        with (folder / "log").open("ab") as log:
            process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        if _came_up(process, port):
            return process, port
        process.wait(10)
    raise AssertionError((folder / "log").read_text())


def _with_shell(folder: Path, shell: str) -> list[str]:
    """The start of a command that sees another /etc/passwd, in which the account has this shell."""
    entry = pwd.getpwuid(os.geteuid())
    lines = [
        line if not line.startswith(f"{entry.pw_name}:") else f"{line.rpartition(':')[0]}:{shell}"
        for line in Path("/etc/passwd").read_text().splitlines()
    ]
    (folder / "passwd").write_text("\n".join(lines) + "\n")
    mount = f"mount --bind '{folder}/passwd' /etc/passwd && exec \"$@\""
    return ["unshare", "--mount", "--propagation", "private", "sh", "-c", mount, "sh"]


def _came_up(process: subprocess.Popen[bytes], port: int) -> bool:
    return wait_for(lambda: process.poll() is not None or _answers(port)) and process.poll() is None


def _answers(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=1) as line:
            return line.recv(4) == b"SSH-"
    except OSError:
        return False
