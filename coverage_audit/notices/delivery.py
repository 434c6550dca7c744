"""Delivery: the one door to apprise. Each notice goes out from a process of its own, which may be given up.

The library logs addresses, waits on threads that a slow server can hold for ever, and takes a while to import. In
a short-lived child none of that matters: what it logs goes nowhere, and past the deadline it is ended. The
address reaches it through a pipe, never on its command line, and only words of ours come back.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import re
from contextlib import closing
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING

from coverage_audit.notices.message import Message

if TYPE_CHECKING:
    from apprise import AppriseResult
    from apprise.attachment.memory import AttachMemory
    from apprise.plugins import NotifyBase

WAIT_S = 60
"""How long one delivery may take, by its own process."""

GRACE_S = 15
"""How much longer that process is waited for (it starts, and imports) before it is ended."""

PAGE_NAME = "coverage-audit.html"

_STATUS = re.compile(r"\berror=([1-5][0-9]{2})\b")


@dataclass(frozen=True, kw_only=True)
class Delivered:
    """The service took it, for all recipients."""

    target: str


@dataclass(frozen=True, kw_only=True)
class Failed:
    """It was not delivered to all of its recipients; `reason` holds nothing of the address."""

    target: str
    reason: str


def deliver(target_name: str, url: str, message: Message, *, wait_s: float = WAIT_S) -> Delivered | Failed:
    """Send a message to one address, as mail with the page attached or as a short push message. Never raises."""
    reason = _in_a_child(url, message, wait_s)
    return Delivered(target=target_name) if reason is None else Failed(target=target_name, reason=reason)


def _in_a_child(url: str, message: Message, wait_s: float) -> str | None:
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    child = context.Process(target=_send_and_report, args=(there, url, message, wait_s), daemon=True)
    child.start()
    there.close()
    try:
        with closing(here):
            if not here.poll(wait_s + GRACE_S):
                return f"no answer within {wait_s:g} s"
            reason = here.recv()
            return reason if reason is None else str(reason)
    except EOFError:
        return "the process that sends notices ended before it had sent it"
    finally:
        child.kill()
        child.join()
        child.close()


def _send_and_report(to: Connection, url: str, message: Message, wait_s: float) -> None:
    """Run in the child. Whatever a service's code raises may hold the address: only its kind is told."""
    _be_silent()
    try:
        reason = _send(url, message, wait_s)
    except Exception as error:  # noqa: BLE001 - any plugin may raise anything, and the text may hold the address
        reason = f"the code for this kind of address failed ({type(error).__name__})"
    to.send(reason)
    to.close()


def _be_silent() -> None:
    """Let nothing out of this process: logs, warnings and tracebacks of libraries can repeat the address."""
    logging.lastResort = None
    logging.getLogger().handlers = [logging.NullHandler()]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)


def _send(url: str, message: Message, wait_s: float) -> str | None:
    """Return None if every recipient's server took it, else why not."""
    from apprise import Apprise, AppriseAsset  # noqa: PLC0415 - slow to import, and only needed in the child
    from apprise.common import NotifyFormat  # noqa: PLC0415 - the same

    asset = AppriseAsset(app_id="Coverage Audit", app_desc="Coverage Audit", app_url="")
    service = Apprise.instantiate(url, asset=asset)
    if service is None:
        return "its address is none that can be used: see the forms that apprise knows"
    if not _keeps_every_recipient(service, url):
        return "its address names a recipient that is no mail address"
    mail = _is_mail(service)
    rich = mail and service.resolve_format(NotifyFormat.HTML) is NotifyFormat.HTML
    sender = Apprise(asset=asset)
    if not sender.add(service):
        return "its address was not taken"
    result = sender.notify(
        title=message.subject,
        body=message.html if rich else message.text if mail else message.short,
        body_format=NotifyFormat.HTML if rich else NotifyFormat.TEXT,
        attach=_page(message) if mail else None,
        interpret_escapes=False,
        timeout=wait_s,
    )
    return _why_not(result, wait_s)


def _is_mail(service: NotifyBase) -> bool:
    """Whether it sends mail: SMTP, or one of the mail services (these declare HTML alone, and attach files)."""
    from apprise.common import NotifyFormat  # noqa: PLC0415 - the same
    from apprise.plugins.email import NotifyEmail  # noqa: PLC0415 - the same

    only_html = type(service).notify_format is NotifyFormat.HTML
    return isinstance(service, NotifyEmail) or (only_html and service.attachment_support)


def _keeps_every_recipient(service: NotifyBase, url: str) -> bool:
    """Whether as many recipients were understood as were named: apprise drops the others without a word."""
    from apprise.plugins import url_to_dict  # noqa: PLC0415 - the same
    from apprise.plugins.email import NotifyEmail  # noqa: PLC0415 - the same

    if not isinstance(service, NotifyEmail):
        return True
    said = url_to_dict(url) or {}  # type: ignore[no-untyped-call]  # the library does not type it
    kept = {"targets": service.targets, "cc": service.cc, "bcc": service.bcc}
    return bool(service.targets) and all(len(kept[field]) >= _named(said.get(field)) for field in kept)


def _named(said: object) -> int:
    texts = said if isinstance(said, list | tuple | set) else [said] if said else []
    return sum(bool(part.strip()) for text in texts for part in re.split("[,;]", str(text)))


def _page(message: Message) -> list[AttachMemory] | None:
    from apprise.attachment.memory import AttachMemory  # noqa: PLC0415 - the same

    if message.page is None:
        return None
    content = message.page.encode()
    return [AttachMemory(content, PAGE_NAME, "text/html")]  # type: ignore[no-untyped-call]  # as above


def _why_not(result: AppriseResult, wait_s: float) -> str | None:
    """Read a result strictly: an address marked optional reports success whatever happened."""
    from apprise.result import AppriseResultStatus as Status  # noqa: PLC0415 - the same

    attempts = [bool(sent) and bool(sent.attempts[-1]) for sent in result]
    if result.status is Status.SUCCESS and attempts and all(attempts):
        return None
    if result.status is Status.TIMEOUT:
        return f"no answer within {wait_s:g} s"
    if result.status is Status.PARTIAL:
        return "only some of its recipients took it"
    if result.status is Status.NOMATCH:
        return "there was nobody to send it to"
    statuses = {found for entry in result.logs() for found in _STATUS.findall(entry.message)}
    told = f" (status {', '.join(sorted(statuses))})" if statuses else ""
    return f"the service refused it or could not be reached{told}"
