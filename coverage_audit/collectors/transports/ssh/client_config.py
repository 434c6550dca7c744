"""What `~/.ssh/config` says of a host, as far as it can be honoured; the rest is refused, not guessed.

Honoured: HostName, Port, User, IdentityFile, UserKnownHostsFile, HostKeyAlias, ProxyJump (several hops), `Match`
by host and user, and `Include` outside of blocks. Refused with a message: what would run a command here
(`Match exec`, ProxyCommand) or changes whom one talks to or trusts in a way that is not followed. All else
(ciphers, forwarding, …) is left to this program.
"""

from __future__ import annotations

import getpass
import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import paramiko
from paramiko.ssh_exception import ConfigParseError

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.config_text import read_config_text
from coverage_audit.estate.access import SshAccess
from coverage_audit.evidence.facts import GapKind

_MOST_HOPS: Final = 8
_GLOBAL_KNOWN: Final = Path("/etc/ssh/ssh_known_hosts")
_REFUSED: Final = {
    "proxycommand": "it runs a command here; use ProxyJump",
    "canonicalizehostname": "it changes which host is meant; write the full name",
    "revokedhostkeys": "put the keys into known_hosts as @revoked lines",
    "knownhostscommand": "it runs a command here; put the keys into known_hosts",
    "identityagent": "set SSH_AUTH_SOCK, or name a key with identity_file",
    "pkcs11provider": "it loads code here; put the key into an agent",
    "securitykeyprovider": "it loads code here; put the key into an agent",
}
_HARMLESS: Final = {"none", "no", "ssh_auth_sock", "internal"}


@dataclass(frozen=True, kw_only=True)
class Hop:
    """One host on the way, the last being the box itself; `key_name` is its name in known_hosts."""

    host: str
    port: int
    user: str
    identity_files: tuple[Path, ...]
    known_hosts: tuple[Path, ...]
    key_alias: str | None = None


def way_to(access: SshAccess) -> tuple[Hop, ...]:
    """Return every hop to the box in the order of connecting.

    Raises TransportError (NOT_YET) for a configuration that cannot be read or honoured.
    """
    file = Path(access.config_file or "~/.ssh/config").expanduser()
    text = read_config_text(file, must_exist=access.config_file is not None)
    try:
        config = paramiko.SSHConfig.from_text(text)
        return _Ways(config, file).to(access)
    except (ConfigParseError, ValueError, KeyError, paramiko.SSHException) as error:
        raise TransportError(GapKind.NOT_YET, f"{file} cannot be understood: {error}") from error


class _Ways:
    """Looks up hosts in one configuration."""

    def __init__(self, config: paramiko.SSHConfig, file: Path) -> None:
        self._config = config
        self._file = file

    def to(self, access: SshAccess, *, through: str | None = None, depth: int = 0) -> tuple[Hop, ...]:
        """`through` overrules ProxyJump, as a jump list does for its later members."""
        if depth > _MOST_HOPS:
            raise TransportError(
                GapKind.NOT_YET, f"{self._file}: ProxyJump goes round in circles or over too many hops"
            )
        found = self._config.lookup(access.host)
        self._refuse(access.host, found)
        jump = through if through is not None else found.get("proxyjump", "none")
        before: tuple[Hop, ...] = ()
        if jump.lower() != "none":
            *first, last = jump.split(",")
            earlier = ",".join(first) or None
            before = self.to(_jump_access(last.strip(), access), through=earlier, depth=depth + 1)
        return (*before, _hop(access, found))

    def _refuse(self, host: str, found: paramiko.SSHConfigDict) -> None:
        for option, mend in _REFUSED.items():
            value = found.get(option)
            if value is not None and value.lower() not in _HARMLESS:
                raise TransportError(
                    GapKind.NOT_YET,
                    f"{self._file} sets {option} for {host}, which cannot be honoured: {mend}, "
                    "or name a configuration of its own with config_file",
                )


def _hop(access: SshAccess, found: paramiko.SSHConfigDict) -> Hop:
    files = [access.identity_file] if access.identity_file is not None else found.get("identityfile", [])
    return Hop(
        host=found.get("hostname", access.host),
        port=access.port or int(found.get("port", "22")),
        user=access.user or found.get("user") or getpass.getuser(),
        identity_files=tuple(Path(file).expanduser() for file in files if file.lower() != "none"),
        known_hosts=_known_hosts_files(access, found),
        key_alias=found.get("hostkeyalias"),
    )


def _known_hosts_files(access: SshAccess, found: paramiko.SSHConfigDict) -> tuple[Path, ...]:
    if access.known_hosts is not None:
        return (Path(access.known_hosts).expanduser(),)
    named = shlex.split(found.get("userknownhostsfile", "~/.ssh/known_hosts"))
    own = [Path(file).expanduser() for file in named if file.lower() != "none"]
    return (*own, _GLOBAL_KNOWN)


def _jump_access(text: str, target: SshAccess) -> SshAccess:
    """Read one member of a jump list, `[user@]host[:port]`; it is known and logged in to on its own account."""
    user, _, place = text.rpartition("@")
    host, port = place, None
    if place.startswith("["):
        host, _, rest = place[1:].partition("]")
        port = int(rest[1:]) if rest.startswith(":") else None
    elif place.count(":") == 1:
        host, _, digits = place.partition(":")
        port = int(digits)
    return SshAccess(
        host=host, user=user or None, port=port, known_hosts=target.known_hosts, config_file=target.config_file
    )
