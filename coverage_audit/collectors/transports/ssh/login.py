"""Proving the auditor to a box that has proved itself: key files and the agent, never a password."""

from __future__ import annotations

import base64
import binascii
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import paramiko

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.client_config import Hop
from coverage_audit.collectors.transports.ssh.failures import told
from coverage_audit.collectors.transports.ssh.handshake import place
from coverage_audit.evidence.facts import GapKind

_USUAL_FILES: Final = ("id_ed25519", "id_ecdsa", "id_rsa")
_MOST_TRIES: Final = 5  # servers end the connection after six (MaxAuthTries of sshd_config(5))


def usual_files() -> tuple[Path, ...]:
    """Return the key files that are tried where none is named, whether they exist or not."""
    return tuple(Path("~/.ssh").expanduser() / name for name in _USUAL_FILES)


def log_in(transport: paramiko.Transport, hop: Hop) -> None:
    """Authenticate with the keys named for the hop, or with the agent's and the usual files if none is named.

    Raises TransportError: LOGIN when no key is accepted or can be read, with the reason of each.
    """
    agent = _Agent()
    refused: list[str] = []
    tries = 0
    try:
        keys = _named_keys(hop, agent, refused) if hop.identity_files else _any_keys(agent, refused)
        for said, key in keys:
            if tries == _MOST_TRIES:
                refused.append(f"more than {_MOST_TRIES} keys; name the right one with identity_file")
                break
            tries += 1
            if _accepted(transport, hop, said, key, refused):
                return
    finally:
        agent.close()
    reasons = (
        "; ".join(refused) or "there is no key to log in with: name one with identity_file, or add one to an agent"
    )
    raise TransportError(GapKind.LOGIN, f"{place(hop)} refused the login: {reasons}")


def _accepted(transport: paramiko.Transport, hop: Hop, said: str, key: paramiko.PKey, refused: list[str]) -> bool:
    with told(place(hop), "logging in"):
        try:
            further = transport.auth_publickey(hop.user, key)
        except paramiko.BadAuthenticationType as error:
            raise TransportError(
                GapKind.LOGIN,
                f"{place(hop)} takes no keys, only {', '.join(error.allowed_types)}: allow keys for this account",
            ) from error
        except paramiko.AuthenticationException as error:
            if not transport.is_active() or "timeout" in str(error).lower():
                raise
            refused.append(
                f"{said} is not accepted (is its public half in the account's authorized_keys, and may "
                "the account log in?)"
            )
            return False
    if further:
        refused.append(f"{said} is accepted, but {', '.join(further)} is demanded besides")
        return False
    return True


def _named_keys(hop: Hop, agent: _Agent, refused: list[str]) -> Iterator[tuple[str, paramiko.PKey]]:
    for file in hop.identity_files:
        held = agent.holding(file)
        if held is not None:
            yield f"the key {file} (in the agent)", held
            continue
        key = _read_key(file, refused)
        if key is not None:
            yield f"the key {file}", key


def _any_keys(agent: _Agent, refused: list[str]) -> Iterator[tuple[str, paramiko.PKey]]:
    for key in agent.all_keys():
        yield f"the agent's key {key.fingerprint}", key
    for file in usual_files():
        if file.exists():
            usual = _read_key(file, refused)
            if usual is not None:
                yield f"the key {file}", usual


def _read_key(file: Path, refused: list[str]) -> paramiko.PKey | None:
    try:
        return paramiko.PKey.from_path(file)
    except OSError as error:
        refused.append(f"the key {file} cannot be read: {os.strerror(error.errno or 0)}")
    except paramiko.PasswordRequiredException:
        refused.append(_locked(file))
    except (ValueError, TypeError, paramiko.SSHException, paramiko.pkey.UnknownKeyType) as error:
        # The library under it says "locked" by these two, with such words only.
        locked = "password" in str(error).lower() or _is_locked(file)
        refused.append(_locked(file) if locked else f"the key {file} cannot be understood: {error}")
    return None


def _is_locked(file: Path) -> bool:
    text = file.read_bytes()
    return b"ENCRYPTED" in text


def _locked(file: Path) -> str:
    return (
        f"the key {file} is protected by a passphrase and no agent holds it: add it to an agent (ssh-add), or make a "
        "key without one for the auditor alone"
    )


class _Agent:
    """The agent behind SSH_AUTH_SOCK, asked only when it is needed."""

    def __init__(self) -> None:
        self._agent: paramiko.Agent | None = None

    def all_keys(self) -> tuple[paramiko.AgentKey, ...]:
        """Return its keys; none where there is no agent."""
        if self._agent is None:
            try:
                self._agent = paramiko.Agent()
            except (paramiko.SSHException, OSError):
                return ()
        return self._agent.get_keys()

    def holding(self, file: Path) -> paramiko.AgentKey | None:
        """Return the agent's key whose public half lies beside `file`, if it holds it."""
        try:
            words = Path(f"{file}.pub").read_text(encoding="utf-8", errors="replace").split()
            public = base64.b64decode(words[1], validate=True)
        except (OSError, IndexError, binascii.Error, ValueError):
            return None
        return next((key for key in self.all_keys() if key.asbytes() == public), None)

    def close(self) -> None:
        """Let the agent go."""
        if self._agent is not None:
            self._agent.close()
