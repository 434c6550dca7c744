"""What is asked of the gate, and the markers between the parts of its answer."""

from __future__ import annotations

import os
from typing import Final

from coverage_audit.collectors.framing import beginning
from coverage_audit.collectors.requests import Request
from coverage_audit.evidence.visible import visible

START: Final = b"././"
"""How the gate names the root to find, which stands in it by then. No name below can hold a part `.`, so that what
begins with this is no name's doing; what find says of a path can be told from the root's own name."""


class Markers:
    """The markers of one run; nobody who does not know the nonce can forge them."""

    def __init__(self, nonce: str) -> None:
        self.begin = beginning(nonce)
        """Begins the answer on standard output; the gate's mode and a NUL follow."""
        self.complaints = f"B {nonce}\n".encode("ascii")
        """What comes before it on standard error is none of find's."""
        self.middle = f"M {nonce}".encode("ascii")
        self.end = f"E {nonce}".encode("ascii")


def shown_root(root: str) -> str:
    """Return the root as messages show it."""
    return visible(os.fsencode(root))


def request(root: str, nonce: str) -> Request:
    """Return the request to list the tree below an absolute `root`; `nonce` is new for each run."""
    return Request(verb="walk", arguments=(b"gnu", os.fsencode(root)), nonce=nonce)
