"""In which way the trees of a connected box are listed, found out once a connection by what the box really has."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import Final, TypeVar

from coverage_audit.collectors.packets import OffersFiles, Packets
from coverage_audit.collectors.readers import box_tools
from coverage_audit.collectors.readers.box_tools import Tools
from coverage_audit.collectors.readers.sftp_tree import Session
from coverage_audit.collectors.replies import reply_to
from coverage_audit.collectors.transport import Transport, TransportError
from coverage_audit.evidence.facts import GapKind

_T = TypeVar("_T")

GNU: Final = "gnu"
"""The way of a box with GNU find; every other is find and stat."""

NO_COMMANDS: Final = frozenset({GapKind.NO_SHELL})
"""Kinds of failure after which a box may still offer its files over SFTP."""

_NO_SFTP: Final = frozenset({GapKind.NO_TOOL, GapKind.MALFORMED, GapKind.NO_SHELL})
_NO_WAY: Final = (
    "the box has neither a find and stat whose listing can be proven whole (GNU findutils, BusyBox, or those of a BSD) "
    "nor SFTP for this account"
)


class Ways:
    """What one connection offers. `soon` gives the time limit of a short question, on time.monotonic()."""

    def __init__(self, transport: Transport, soon: Callable[[], float]) -> None:
        self._transport = transport
        self._soon = soon
        self._tools: Tools | None = None
        self._sftp_only: TransportError | None = None

    def tools(self) -> Tools | None:
        """Return what the gate can list trees with; None: they are listed over SFTP.

        Raises TransportError: NO_SHELL or NO_TOOL where there is no way at all.
        """
        if self._tools is None and self._sftp_only is None:
            self._find_out()
        return self._tools

    def or_by_files(self, by_gate: Callable[[], _T], by_files: Callable[[Packets], _T]) -> _T:
        """Ask the gate; a box that runs no commands is asked over SFTP, from then on at once.

        Raises TransportError: what the gate's answer raised where the box has no SFTP either.
        """
        if self._sftp_only is None:
            try:
                return by_gate()
            except TransportError as error:
                if error.kind not in NO_COMMANDS:
                    raise
                self._sftp_instead(error)
        with self.open_sftp(self._soon()) as packets:
            return by_files(packets)

    def open_sftp(self, deadline: float) -> Packets:
        """Open a conversation. Raises TransportError: NO_TOOL where there is no SFTP."""
        if not isinstance(self._transport, OffersFiles):
            raise TransportError(GapKind.NO_TOOL, "nothing is asked over SFTP on this machine")
        return self._transport.open_sftp(deadline=deadline)

    def require_sftp(self) -> None:
        """Raise TransportError where the box does not speak SFTP."""
        with self.open_sftp(self._soon()) as packets:
            Session(packets)

    def _find_out(self) -> None:
        nonce = secrets.token_hex(16)
        try:
            reply = reply_to(self._transport, box_tools.request(nonce), deadline=self._soon())
            found = box_tools.parse(reply.text, reply.exit_status, nonce=nonce)
        except TransportError as error:
            if error.kind not in NO_COMMANDS:
                raise
            self._sftp_instead(error)
            return
        if found.walk is None:
            self._sftp_instead(TransportError(GapKind.NO_TOOL, _NO_WAY))
        else:
            self._tools = found

    def _sftp_instead(self, otherwise: TransportError) -> None:
        try:
            self.require_sftp()
        except TransportError as error:
            raise (otherwise if error.kind in _NO_SFTP else error) from error
        self._sftp_only = otherwise
