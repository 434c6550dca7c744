"""One connection to one box, over as many hops as it takes, every hop with its own strict host key."""

from __future__ import annotations

import shlex
import threading
import time
from types import TracebackType
from typing import Final, Self

import paramiko

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.answer import SshAnswer
from coverage_audit.collectors.transports.ssh.client_config import Hop, way_to
from coverage_audit.collectors.transports.ssh.failures import told
from coverage_audit.collectors.transports.ssh.handshake import PACKET, WINDOW, key_name, known_for, negotiated, place
from coverage_audit.collectors.transports.ssh.known_hosts import HostKey
from coverage_audit.collectors.transports.ssh.login import log_in
from coverage_audit.estate.model import Limits, SshAccess
from coverage_audit.evidence.facts import GapKind

_NO_ROOM: Final = 0.2  # seconds before a channel is asked for again; a server frees a closed one a little later
_LONGEST_WAIT: Final = 10.0  # seconds in all for that
_LONGEST_COMMAND: Final = 120_000  # bytes; Linux takes 128 KiB as one argument


class SshTransport:
    """Runs scripts on a box over one connection with a bounded number of channels."""

    def __init__(self, hops: list[paramiko.Transport], last: Hop, key: HostKey, limits: Limits) -> None:
        self._hops = hops
        self._last = last
        self._key = key
        self._limits = limits
        self._channels = threading.BoundedSemaphore(limits.channels)

    @classmethod
    def connect(cls, access: SshAccess, limits: Limits) -> SshTransport:
        """Connect, check every host key, log in.

        Raises TransportError: UNREACHABLE, HOST_KEY, LOGIN, TIME_LIMIT or CUT, with the way to mend it.
        """
        hops: list[paramiko.Transport] = []
        try:
            *before, last = way_to(access)
            for hop in before:
                enter(hop, limits, hops)
            key = enter(last, limits, hops)
            return cls(hops, last, key, limits)
        except BaseException:
            leave(hops)
            raise

    @property
    def host_key(self) -> str:
        """The fingerprint "SHA256:…" of the key by which the box proved itself."""
        return self._key.fingerprint

    def open_command(self, script: bytes, *, deadline: float) -> SshAnswer:
        """Run POSIX sh text; see `Transport.open_command`.

        The account's own shell only hands over to `sh`, whatever it is.
        """
        command = b"exec sh -c " + _quoted(script)
        if len(command) > _LONGEST_COMMAND:
            raise TransportError(GapKind.MALFORMED, f"a command of {len(command)} bytes is longer than a box takes")
        if not self._channels.acquire(timeout=max(0.0, deadline - time.monotonic())):
            raise TransportError(GapKind.TIME_LIMIT, f"no channel to {place(self._last)} became free in time")
        try:
            channel = self._open(deadline)
            self._start(channel, command, deadline)
        except BaseException:
            self._channels.release()
            raise
        return SshAnswer(
            channel,
            place=place(self._last),
            deadline=deadline,
            read_time=self._limits.read_time.total_seconds(),
            done=self._channels.release,
        )

    def _open(self, deadline: float) -> paramiko.Channel:
        """Open a session; where the server has no room (MaxSessions), wait for a closed one to be freed."""
        wait = min(_LONGEST_WAIT, self._limits.read_time.total_seconds())
        wait_until = min(deadline, time.monotonic() + wait)
        while True:
            with told(place(self._last), "opening a channel"):
                try:
                    return self._hops[-1].open_session(
                        window_size=WINDOW, max_packet_size=PACKET, timeout=max(0.1, wait_until - time.monotonic())
                    )
                except paramiko.ChannelException as error:
                    if time.monotonic() >= wait_until:
                        raise TransportError(
                            GapKind.NO_SHELL, f"{place(self._last)} opens no session for this account ({error})"
                        ) from error
            time.sleep(_NO_ROOM)

    def _start(self, channel: paramiko.Channel, command: bytes, deadline: float) -> None:
        # The library waits for the reply to this request without any limit: the timer ends such a wait by closing.
        wait = min(self._limits.read_time.total_seconds(), max(0.1, deadline - time.monotonic()))
        too_late = threading.Event()

        def give_up() -> None:
            too_late.set()
            leave(self._hops)

        timer = threading.Timer(wait, give_up)
        timer.daemon = True
        timer.start()
        try:
            with told(place(self._last), "starting a command"):
                channel.exec_command(command)
                channel.shutdown_write()  # nothing waits for input
        except TransportError as error:
            if too_late.is_set():
                raise TransportError(
                    GapKind.TIME_LIMIT, f"{place(self._last)} did not start a command in time"
                ) from error
            if self._hops[-1].is_active():
                raise TransportError(
                    GapKind.NO_SHELL, f"{place(self._last)} runs no commands for this account"
                ) from error
            raise
        finally:
            timer.cancel()

    def __enter__(self) -> Self:
        """Return the transport itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the connection and those to the hops before it."""
        leave(self._hops)


def enter(hop: Hop, limits: Limits, hops: list[paramiko.Transport]) -> HostKey:
    """Connect to `hop` through the last of `hops`, check its host key, log in; adds itself to `hops`."""
    transport, key = negotiated(hop, limits, hops[-1] if hops else None)
    hops.append(transport)
    known_for(hop).check(key_name(hop), key)
    log_in(transport, hop)
    return key


def leave(hops: list[paramiko.Transport]) -> None:
    """Close the connections, the farthest first."""
    for transport in reversed(hops):
        transport.close()


def _quoted(script: bytes) -> bytes:
    # Names are bytes that need not be text; surrogates carry them through the quoting unchanged.
    return shlex.quote(script.decode("utf-8", "surrogateescape")).encode("utf-8", "surrogateescape")
