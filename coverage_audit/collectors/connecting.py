"""Which transport reaches a device."""

from __future__ import annotations

from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.collectors.transports.local import LocalTransport
from coverage_audit.estate.access import LocalAccess, SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import Device
from coverage_audit.evidence.facts import GapKind


def connect(device: Device, limits: Limits) -> Transport:
    """Connect to a device; the result is to be left as a context.

    Raises TransportError when it cannot be reached, or when it lies on a shelf.
    """
    if isinstance(device.access, SshAccess):
        # Only here: importing it takes a fifth of a second, which a local device need not pay.
        from coverage_audit.collectors.transports.ssh import SshTransport  # noqa: PLC0415 - see the line above

        return SshTransport.connect(device.access, limits)
    if isinstance(device.access, LocalAccess):
        return LocalTransport()
    raise TransportError(GapKind.SHELF, "it is not attached: it is judged from the manifest recorded when it last was")
