"""One connection to one box, over as many hops as it takes, every hop with its own strict host key."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import Final, Self

import paramiko

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.answer import SshAnswer
from coverage_audit.collectors.transports.ssh.client_config import Hop, way_to
from coverage_audit.collectors.transports.ssh.failures import told
from coverage_audit.collectors.transports.ssh.handshake import PACKET, WINDOW, key_name, known_for, negotiated, place
from coverage_audit.collectors.transports.ssh.known_hosts import HostKey
from coverage_audit.collectors.transports.ssh.login import log_in
from coverage_audit.collectors.transports.ssh.sftp import SftpPackets
from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.evidence.facts import GapKind

_NO_ROOM: Final = 0.2  # seconds before a channel is asked for again; a server frees a closed one a little later
_LONGEST_WAIT: Final = 10.0  # seconds in all for that


class SshTransport:
    """Puts requests to the gate of a box over one connection with a bounded number of channels."""

    def __init__(self, hops: list[paramiko.Transport], last: Hop, key: HostKey, limits: Limits, gate: bytes) -> None:
        self._hops = hops
        self._last = last
        self._key = key
        self._limits = limits
        self.gate = gate
        self._channels = threading.BoundedSemaphore(limits.channels)
        self._given_up = threading.Event()

    @classmethod
    def connect(cls, access: SshAccess, limits: Limits, gate: bytes | None = None) -> SshTransport:
        """Connect, check every host key, log in; `gate` is another text to send along than the shipped one.

        Raises TransportError: UNREACHABLE, HOST_KEY, LOGIN, TIME_LIMIT or CUT, with the way to mend it.
        """
        hops: list[paramiko.Transport] = []
        try:
            *before, last = way_to(access)
            for hop in before:
                enter(hop, limits, hops)
            key = enter(last, limits, hops)
            return cls(hops, last, key, limits, gate_text() if gate is None else gate)
        except BaseException:
            leave(hops)
            raise

    @property
    def host_key(self) -> str:
        """The fingerprint "SHA256:…" of the key by which the box proved itself."""
        return self._key.fingerprint

    def open_request(self, request: Request, *, deadline: float) -> SshAnswer:
        """Put a request to the box's gate; see `Transport.open_request`.

        The account's own shell only hands over to `sh`, whatever it is.
        """
        command = request.line

        def start(channel: paramiko.Channel) -> None:
            with told(place(self._last), "starting a command"):
                channel.exec_command(command)
            with told(place(self._last), "sending the gate"):
                self._send_gate(channel)

        no_shell = TransportError(GapKind.NO_SHELL, f"{place(self._last)} runs no commands for this account")
        return SshAnswer(
            self._started(start, no_shell, deadline),
            place=place(self._last),
            deadline=deadline,
            read_time=self._limits.read_time.total_seconds() + request.patience,
            done=self._channels.release,
        )

    def open_sftp(self, *, deadline: float) -> SftpPackets:
        """Open a conversation over SFTP; see `OffersFiles.open_sftp`."""

        def start(channel: paramiko.Channel) -> None:
            with told(place(self._last), "opening SFTP"):
                channel.invoke_subsystem("sftp")

        no_sftp = TransportError(GapKind.NO_TOOL, f"{place(self._last)} offers no files over SFTP to this account")
        return SftpPackets(
            self._started(start, no_sftp, deadline),
            place=place(self._last),
            deadline=deadline,
            read_time=self._limits.read_time.total_seconds(),
            done=self._channels.release,
        )

    def _started(
        self, start: Callable[[paramiko.Channel], None], refused: TransportError, deadline: float
    ) -> paramiko.Channel:
        if not self._channels.acquire(timeout=max(0.0, deadline - time.monotonic())):
            raise TransportError(GapKind.TIME_LIMIT, f"no channel to {place(self._last)} became free in time")
        try:
            channel = self._open(deadline)
            self._start(channel, start, refused, deadline)
        except BaseException as error:
            self._channels.release()
            if self._given_up.is_set() and isinstance(error, TransportError):  # here or for another channel
                late = f"{place(self._last)} did not start a command in time"
                raise TransportError(GapKind.TIME_LIMIT, late) from error
            raise
        return channel

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

    def _start(
        self,
        channel: paramiko.Channel,
        start: Callable[[paramiko.Channel], None],
        refused: TransportError,
        deadline: float,
    ) -> None:
        # The library waits for the reply to this request without any limit: the timer ends such a wait by closing.
        wait = min(self._limits.read_time.total_seconds(), max(0.1, deadline - time.monotonic()))

        def give_up() -> None:
            self._given_up.set()
            leave(self._hops)

        timer = threading.Timer(wait, give_up)
        timer.daemon = True
        timer.start()
        try:
            start(channel)
        except TransportError as error:
            if self._hops[-1].is_active():
                raise refused from error
            raise
        finally:
            timer.cancel()

    def _send_gate(self, channel: paramiko.Channel) -> None:
        # An installed gate reads none of it and may be done before it is sent: then its answer is what counts.
        try:
            channel.sendall(self.gate)
            channel.shutdown_write()
        except (OSError, EOFError):
            if not (channel.closed and self._hops[-1].is_active()):
                raise

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
