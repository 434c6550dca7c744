"""From nothing to a box that has proved its host key: socket, key exchange, known_hosts."""

from __future__ import annotations

import logging
import socket
from typing import Final

import paramiko

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.client_config import Hop
from coverage_audit.collectors.transports.ssh.failures import told
from coverage_audit.collectors.transports.ssh.known_hosts import HostKey, KnownHosts, host_name, read_known_hosts
from coverage_audit.estate.limits import Limits
from coverage_audit.evidence.facts import GapKind

WINDOW: Final = 1 << 23
PACKET: Final = 1 << 18
"""Measured: the cipher decides the speed; windows above 16 MiB make a listing slower, not faster."""

_CIPHERS: Final = (
    "aes128-gcm@openssh.com",
    "aes256-gcm@openssh.com",
    "aes128-ctr",
    "aes192-ctr",
    "aes256-ctr",
)
_DIGESTS: Final = (
    "hmac-sha2-256-etm@openssh.com",
    "hmac-sha2-512-etm@openssh.com",
    "hmac-sha2-256",
    "hmac-sha2-512",
    "hmac-sha1",
)
_KEEP_ALIVE: Final = 30  # seconds; keeps address translation on the way from forgetting the connection

# The library writes tracebacks of its threads; what matters reaches the gap's own message.
logging.getLogger("paramiko").setLevel(logging.CRITICAL + 1)


def place(hop: Hop) -> str:
    """Name a hop for messages."""
    return f"{hop.user}@{host_name(hop.host, hop.port)}"


def key_name(hop: Hop) -> str:
    """Name a hop as known_hosts does."""
    return hop.key_alias.lower() if hop.key_alias is not None else host_name(hop.host, hop.port)


def negotiated(hop: Hop, limits: Limits, through: paramiko.Transport | None) -> tuple[paramiko.Transport, HostKey]:
    """Connect and exchange keys; nothing is authenticated, neither the box nor the auditor.

    `through` is the connection to the hop before. Raises TransportError.
    """
    known = read_known_hosts(hop.known_hosts)
    with told(place(hop), "connecting"):
        line = _socket(hop, limits) if through is None else _tunnel(hop, limits, through)
    with told(place(hop), "agreeing on keys"):
        transport = paramiko.Transport(line, default_window_size=WINDOW, default_max_packet_size=PACKET)
        try:
            _prepare(transport, limits, known.kinds(key_name(hop)))
            offered = _agreed(transport, limits)
        except BaseException:
            transport.close()
            raise
    transport.set_keepalive(_KEEP_ALIVE)
    return transport, HostKey(kind=offered.get_name(), blob=offered.asbytes())


def known_for(hop: Hop) -> KnownHosts:
    """Return the keys known where this hop's are looked up."""
    return read_known_hosts(hop.known_hosts)


def _socket(hop: Hop, limits: Limits) -> socket.socket:
    try:
        line = socket.create_connection((hop.host, hop.port), timeout=limits.connect_time.total_seconds())
    except socket.gaierror as error:
        raise TransportError(
            GapKind.UNREACHABLE, f"the name of {place(hop)} cannot be resolved: {error.strerror}"
        ) from error
    except OSError as error:
        why = "it does not answer" if isinstance(error, TimeoutError) else error.strerror or str(error)
        raise TransportError(GapKind.UNREACHABLE, f"{place(hop)} cannot be reached: {why}") from error
    # The library leaves Nagle's algorithm on, which costs 40 ms a round trip against delayed acknowledgements.
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    line.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    return line


def _tunnel(hop: Hop, limits: Limits, through: paramiko.Transport) -> paramiko.Channel:
    return through.open_channel(
        "direct-tcpip",
        (hop.host, hop.port),
        ("127.0.0.1", 0),
        window_size=WINDOW,
        max_packet_size=PACKET,
        timeout=limits.connect_time.total_seconds(),
    )


def _agreed(transport: paramiko.Transport, limits: Limits) -> paramiko.PKey:
    transport.start_client(timeout=limits.login_time.total_seconds())
    if not transport.initial_kex_done:  # the library returns at its time limit as if all were well
        raise TimeoutError
    return transport.get_remote_server_key()


def _prepare(transport: paramiko.Transport, limits: Limits, known_kinds: tuple[str, ...]) -> None:
    transport.banner_timeout = limits.connect_time.total_seconds()
    # Well after the limit that is watched here: the library's own timer looks like a connection that was closed.
    transport.handshake_timeout = 3 * limits.login_time.total_seconds()
    transport.auth_timeout = limits.login_time.total_seconds()
    transport.channel_timeout = limits.read_time.total_seconds()
    options = transport.get_security_options()
    options.ciphers = [name for name in _CIPHERS if name in options.ciphers]
    options.digests = [name for name in _DIGESTS if name in options.digests]
    options.key_types = _known_first(tuple(options.key_types), known_kinds)


def _known_first(offered: tuple[str, ...], known_kinds: tuple[str, ...]) -> list[str]:
    # A box has several host keys: ask for one that is known, or a rightful box would look like a changed one.
    wanted = set(known_kinds) | ({"rsa-sha2-512", "rsa-sha2-256"} if "ssh-rsa" in known_kinds else set())
    return sorted(offered, key=lambda name: name not in wanted)
