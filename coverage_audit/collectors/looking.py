"""A second look at named paths, batch by batch."""

from __future__ import annotations

import secrets

from coverage_audit.collectors.errands import LookAgain, Looked
from coverage_audit.collectors.readers import second_look
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transport import Transport
from coverage_audit.evidence.collected import SecondLook


def look(errand: LookAgain, transport: Transport) -> Looked:
    """Look at every path; all or nothing.

    Raises TransportError when the box cannot be asked, CollectionError for more paths than one look takes.
    """
    looks: list[SecondLook] = []
    for paths in second_look.batches(errand.root, errand.paths):
        nonce = secrets.token_hex(16)
        request = second_look.request(errand.root, paths, nonce)
        reply = reply_to(transport, request, deadline=errand.deadline)
        looks += second_look.parse(reply.text, reply.exit_status, nonce=nonce, root=errand.root, paths=paths)
    return Looked(looks=tuple(looks))
