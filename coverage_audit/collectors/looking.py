"""A second look at named paths, batch by batch."""

from __future__ import annotations

import secrets

from coverage_audit.collectors.errands import LookAgain, Looked
from coverage_audit.collectors.readers import second_look
from coverage_audit.collectors.readers.sftp_tree import look_over_sftp
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transport import Transport
from coverage_audit.collectors.ways import Ways
from coverage_audit.evidence.collected import SecondLook


def look(errand: LookAgain, transport: Transport) -> Looked:
    """Look at every path; all or nothing.

    Raises TransportError when the box cannot be asked, CollectionError for more paths than one look takes.
    """
    ways = Ways(transport, lambda: errand.deadline)
    return Looked(
        looks=ways.or_by_files(
            lambda: _by_gate(errand, transport),
            lambda packets: look_over_sftp(packets, errand.root, errand.paths),
        )
    )


def _by_gate(errand: LookAgain, transport: Transport) -> tuple[SecondLook, ...]:
    looks: list[SecondLook] = []
    for paths in second_look.batches(errand.root, errand.paths):
        nonce = secrets.token_hex(16)
        request = second_look.request(errand.root, paths, nonce)
        reply = reply_to(transport, request, deadline=errand.deadline)
        looks += second_look.parse(reply.text, reply.exit_status, nonce=nonce, root=errand.root, paths=paths)
    return tuple(looks)
