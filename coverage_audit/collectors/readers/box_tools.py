"""What tools a box really has, by what they print and never by its name or theirs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.framing import fields, pairs, shown
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

_WALKS: Final = ("gnu", "stat-c", "stat-f")
_PRECISIONS: Final = {"ns": 1, "s": 10**9}


@dataclass(frozen=True, kw_only=True)
class Tools:
    """`walk`: in which way the gate can list a tree (None: in none); `precision_ns`: of the times that it prints.

    `digests` are the algorithms that the box can reckon.
    """

    walk: str | None
    precision_ns: int
    digests: tuple[str, ...] = ()


def request(nonce: str) -> Request:
    """Return the request."""
    return Request(verb="tools", nonce=nonce)


def parse(reply: bytes, exit_status: int | None, *, nonce: str) -> Tools:
    """Read the answer. Raises TransportError where it was cut, malformed or never given."""
    said = {name: shown(value) or "" for name, value in pairs(fields(reply, exit_status, nonce))}
    walk, fraction = said.get("walk", ""), said.get("fraction", "")
    if fraction not in _PRECISIONS or walk not in (*_WALKS, "none"):
        raise TransportError(GapKind.MALFORMED, "the answer does not say in which way trees can be listed")
    return Tools(
        walk=walk if walk in _WALKS else None,
        precision_ns=_PRECISIONS[fraction],
        digests=tuple(said.get("digest", "").split()),
    )
