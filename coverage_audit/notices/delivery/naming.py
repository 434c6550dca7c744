"""How an event is named to a service, so that a second try of it can be told from a second event."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from apprise.plugins import NotifyBase

HEADER = "X-Coverage-Audit-Event"
"""The header that names the event, in mail and wherever a service's own headers can be given."""


def name_mail(service: NotifyBase, event: str) -> None:
    """Give a mail the event as its Message-ID. Only in the child: it changes the library for this process.

    The library has no setting for it: a Message-ID among the headers of an address would be a second one.
    """
    from apprise.plugins.email import base  # noqa: PLC0415 - slow to import, and only needed in the child

    def message_id(idstring: str | None = None, domain: str | None = None) -> str:
        del idstring
        return f"<{event}@{domain or 'coverage-audit.invalid'}>"

    vars(base)["make_msgid"] = message_id
    name_by_header(service, event)


def name_by_header(service: NotifyBase, event: str) -> bool:
    """Name the event in a header of its own, where the service lets one be given; whether it does."""
    headers: Any = getattr(service, "headers", None)
    if not isinstance(headers, dict):
        return False
    headers[HEADER] = event
    return True


def named_in_body(short: str, event: str) -> str:
    """Name the event at the end of a push message, where there is no other place for it."""
    return f"{short}\n[{event[:12]}]"


def keep_served(service: NotifyBase, event: str, served: frozenset[str]) -> set[str]:
    """Let the service pass over recipients whom an earlier try has reached; the set grows by those whom it reaches.

    Recipients are kept as digests: an address is nobody's business but its server's.
    """
    reached: set[str] = set()

    def digest(key: object, per_message: bool) -> str:  # noqa: FBT001 - the library's signature
        slot = repr(service._slot(key, per_message))  # noqa: SLF001 - a piece of a split message has its own
        return hashlib.sha256(f"{event} {slot}".encode("utf-8", "backslashreplace")).hexdigest()[:24]

    def is_delivered(key: object, per_message: bool = False) -> bool:  # noqa: FBT001, FBT002 - as above
        return isinstance(key, str) and digest(key, per_message) in served

    def mark_delivered(key: object, per_message: bool = False) -> None:  # noqa: FBT001, FBT002 - as above
        if isinstance(key, str):
            reached.add(digest(key, per_message))

    service.is_delivered = is_delivered  # type: ignore[method-assign]  # of this one object
    service.mark_delivered = mark_delivered  # type: ignore[method-assign]  # as above
    return reached
