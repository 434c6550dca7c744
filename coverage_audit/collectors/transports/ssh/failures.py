"""What went wrong, in words that tell how to mend it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import paramiko

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

_NO_GREETING: Final = "Error reading SSH protocol banner"
_GONE: Final = {"SSH session not active", "Unable to open channel.", "Channel closed."}


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
    """Name the kind with care: only a box that does not answer at all is `unreachable`, which may excuse it."""
    if isinstance(error, paramiko.ssh_exception.IncompatiblePeer):
        return TransportError(
            GapKind.NOT_YET,
            f"{place} and the auditor have no common algorithm ({error}); the box offers only what is no longer "
            "safe: update its SSH server, or mount its folders here and audit them as local",
        )
    if isinstance(error, paramiko.ChannelException):
        prohibited = error.code == 1  # SSH_OPEN_ADMINISTRATIVELY_PROHIBITED, RFC 4254 section 5.1
        kind = GapKind.LOGIN if prohibited else GapKind.UNREACHABLE
        return TransportError(kind, f"the host before {place} could not reach it: {error.text}")
    if _is_slow(error):
        return TransportError(GapKind.TIME_LIMIT, f"{place} did not answer in time while {step}")
    if isinstance(error, paramiko.AuthenticationException) and not _is_cut(error):
        return TransportError(GapKind.LOGIN, f"{place} refused the login: {error}")
    return _broken(place, step, error)


def _broken(place: str, step: str, error: Exception) -> TransportError:
    if isinstance(error, (EOFError, OSError)) or _is_cut(error):
        return TransportError(GapKind.CUT, f"{place} closed the connection while {step}")
    if isinstance(error, paramiko.SSHException) and str(error) in _GONE:
        return TransportError(GapKind.CUT, f"the connection to {place} was lost before {step}")
    return TransportError(GapKind.MALFORMED, f"{place} failed while {step}: {error}")


def _is_cut(error: Exception) -> bool:
    # The library tells a connection that ended in the middle of the login from a refusal by these words alone.
    return "saw EOF" in str(error) or (_NO_GREETING in str(error) and isinstance(error.__context__, EOFError | OSError))


def _is_slow(error: Exception) -> bool:
    if _NO_GREETING in str(error):  # silence and a cut are told apart only by what came before
        return isinstance(error.__context__, TimeoutError)
    return isinstance(error, TimeoutError) or "timeout" in str(error).lower()
