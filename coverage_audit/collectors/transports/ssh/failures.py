"""What went wrong, in words that tell how to mend it."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

import paramiko

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind


@contextmanager
def told(place: str, step: str) -> Iterator[None]:
    """Turn every failure of the library inside into a TransportError about `step` at `place` ("user@host:port")."""
    try:
        yield
    except TransportError:
        raise
    except (paramiko.SSHException, EOFError, OSError, ValueError) as error:
        raise _explained(place, step, error) from error


def _explained(place: str, step: str, error: Exception) -> TransportError:
    slow = isinstance(error, TimeoutError) or any(word in str(error).lower() for word in ("timeout", "timed out"))
    if slow:
        return TransportError(GapKind.TIME_LIMIT, f"{place} did not answer in time while {step}")
    if isinstance(error, paramiko.AuthenticationException):
        return TransportError(GapKind.LOGIN, f"{place} refused the login: {error}")
    if isinstance(error, (EOFError, ConnectionResetError, BrokenPipeError)):
        return TransportError(GapKind.CUT, f"{place} closed the connection while {step}")
    return TransportError(GapKind.UNREACHABLE, _why_unreachable(place, step, error))


def _why_unreachable(place: str, step: str, error: Exception) -> str:
    if isinstance(error, paramiko.ssh_exception.IncompatiblePeer):
        return (
            f"{place} and the auditor have no common algorithm ({error}); the box offers only what is no longer "
            "safe: update its SSH server, or mount its folders here and audit them as local"
        )
    if isinstance(error, socket.gaierror):
        return f"the name of {place} cannot be resolved: {error.strerror}"
    if isinstance(error, OSError):
        return f"{place} cannot be reached: {error.strerror or error}"
    return f"{place} failed while {step}: {error}"
