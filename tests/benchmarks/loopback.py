"""An SSH server on loopback for the time of a benchmark, and the words that reach it with OpenSSH's own client."""

from __future__ import annotations

import getpass
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from coverage_audit.estate.access import SshAccess
from tests.parts.processes import end_with_descendants
from tests.parts.sshd import free_port, make_key
from tests.parts.waiting import wait_for

_CONFIG = """
ListenAddress 127.0.0.1
Port {port}
HostKey {folder}/host
AuthorizedKeysFile {folder}/auditor.pub
StrictModes no
UsePAM no
PermitRootLogin yes
PidFile none
LogLevel ERROR
"""


@dataclass(frozen=True, kw_only=True)
class Server:
    """A running server; `folder` holds its keys."""

    folder: Path
    port: int

    @property
    def access(self) -> SshAccess:
        """How the auditor reaches it."""
        return SshAccess(
            host="127.0.0.1",
            user=getpass.getuser(),
            port=self.port,
            identity_file=str(self.folder / "auditor"),
            known_hosts=str(self.folder / "known"),
            config_file=str(self.folder / "no_config"),
        )

    @property
    def client(self) -> list[str]:
        """OpenSSH's client up to the command that is to run."""
        options = [f"UserKnownHostsFile={self.folder}/known", "IdentitiesOnly=yes", "BatchMode=yes"]
        key = ["-i", str(self.folder / "auditor"), "-p", str(self.port)]
        return ["ssh", "-F", "none", *(word for option in options for word in ("-o", option)), *key, "127.0.0.1"]

    def answers(self) -> bool:
        """Whether a command can be run there."""
        return subprocess.run([*self.client, "true"], check=False, capture_output=True).returncode == 0


@contextmanager
def a_server(folder: Path) -> Iterator[Server]:
    """Start a server with new keys; it ends with the context."""
    folder.mkdir()
    server = Server(folder=folder, port=free_port())
    make_key(folder / "host")
    make_key(folder / "auditor")
    (folder / "no_config").touch()
    (folder / "config").write_text(_CONFIG.format(folder=folder, port=server.port))
    kind, key, *_ = (folder / "host.pub").read_text().split()
    (folder / "known").write_text(f"[127.0.0.1]:{server.port} {kind} {key}\n")
    process = subprocess.Popen(["/usr/sbin/sshd", "-D", "-e", "-f", folder / "config"])
    try:
        if not wait_for(server.answers):
            raise RuntimeError("the server did not come up")
        yield server
    finally:
        end_with_descendants(process)
