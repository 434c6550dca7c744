"""Making a box's host key known, on the owner's request and never otherwise."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

import paramiko

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.client_config import Hop, way_to
from coverage_audit.collectors.transports.ssh.connection import enter, leave
from coverage_audit.collectors.transports.ssh.handshake import key_name, known_for, negotiated
from coverage_audit.collectors.transports.ssh.known_hosts import HostKey
from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.evidence.facts import GapKind


class OfferedKey(NamedTuple):
    """What a box offers as its host key; `line` is what would make it known."""

    kind: str
    fingerprint: str
    line: str


def offered_host_key(access: SshAccess, limits: Limits) -> OfferedKey:
    """Return the host key that the box offers, known or not; nobody is logged in to the box.

    Where the way leads over hops, the first hop whose key is not known is answered for: without it there is
    no way to the next. Raises TransportError when the box or a hop cannot be reached.
    """
    hops: list[paramiko.Transport] = []
    *before, last = way_to(access)
    try:
        for hop in before:
            offered = _unless_known(hop, limits, hops)
            if offered is not None:
                return offered
            enter(hop, limits, hops)
        transport, key = negotiated(last, limits, hops[-1] if hops else None)
        hops.append(transport)
        return _offer(last, key)
    finally:
        leave(hops)


def remember_host_key(access: SshAccess, line: str) -> Path:
    """Append `line` of an OfferedKey to the known_hosts file of this access, and return the file.

    Raises TransportError when another key of that host is known there already (the owner must remove it
    first: a change of key is never accepted in passing) or the file cannot be written.
    """
    hop = next((hop for hop in way_to(access) if line.split(" ", 1)[0] == key_name(hop)), None)
    if hop is None or not hop.known_hosts:
        raise TransportError(GapKind.HOST_KEY, "this key belongs to no host on the way to the device")
    file = hop.known_hosts[0]
    known = known_for(hop).holds(key_name(hop))
    if known is not None:
        raise TransportError(
            GapKind.HOST_KEY,
            f"{known} has a key of {key_name(hop)} already: remove that line first if the change is rightful",
        )
    try:
        _append(file, line)
    except OSError as error:
        raise TransportError(GapKind.STORAGE, f"cannot write {file}: {os.strerror(error.errno or 0)}") from error
    return file


def _unless_known(hop: Hop, limits: Limits, hops: list[paramiko.Transport]) -> OfferedKey | None:
    if known_for(hop).holds(key_name(hop)) is not None:
        return None
    transport, key = negotiated(hop, limits, hops[-1] if hops else None)
    transport.close()
    return _offer(hop, key)


def _offer(hop: Hop, key: HostKey) -> OfferedKey:
    return OfferedKey(kind=key.kind, fingerprint=key.fingerprint, line=key.line(key_name(hop)))


def _append(file: Path, line: str) -> None:
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor = os.open(file, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o600)
    try:
        size = os.fstat(descriptor).st_size
        unended = size > 0 and os.pread(descriptor, 1, size - 1) != b"\n"
        os.write(descriptor, (b"\n" if unended else b"") + line.encode() + b"\n")
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
