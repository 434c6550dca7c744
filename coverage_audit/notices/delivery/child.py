"""The process that sends one notice. It runs apprise, lets nothing out but a reply, and ends."""

from __future__ import annotations

import multiprocessing
import re
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING

from coverage_audit.ledger.outgoing import Picture
from coverage_audit.notices.delivery.arranging import arrange_mails
from coverage_audit.notices.delivery.lifeline import end_without_reader
from coverage_audit.notices.delivery.naming import keep_served, name_by_header, name_mail, named_in_body
from coverage_audit.notices.delivery.silence import be_silent
from coverage_audit.notices.mail_form import without_pictures
from coverage_audit.notices.message import Message

if TYPE_CHECKING:
    from apprise import AppriseResult
    from apprise.attachment.memory import AttachMemory
    from apprise.plugins import NotifyBase

PAGE_NAME = "coverage-audit.html"

_STATUS = re.compile(r"\berror=([1-5][0-9]{2})\b")


@dataclass(frozen=True, kw_only=True)
class Errand:
    """What is to be sent, where to, under which name, to whom not again, and within how many seconds."""

    url: str
    message: Message
    event: str | None
    served: frozenset[str]
    wait_s: float


@dataclass(frozen=True, kw_only=True)
class Reply:
    """Why it was not delivered to everybody (None: it was), and digests of those whom it reached now."""

    reason: str | None
    served: frozenset[str] = frozenset()


def send_and_report(to: Connection, errand: Errand) -> None:
    """Run in the child. Whatever a service's code raises may hold the address: only its kind is told."""
    be_silent()
    end_without_reader(to)
    try:
        reply = _send(errand)
    except Exception as error:  # noqa: BLE001 - any plugin may raise anything, and the text may hold the address
        reply = Reply(reason=f"the code for this kind of address failed ({type(error).__name__})")
    to.send(reply)
    to.close()


def _send(errand: Errand) -> Reply:
    """Send to every recipient who has not been reached yet; every one of their servers must take it."""
    from apprise import Apprise, AppriseAsset  # noqa: PLC0415 - slow to import, and only needed in the child
    from apprise.common import NotifyFormat  # noqa: PLC0415 - the same

    asset = AppriseAsset(app_id="Coverage Audit", app_desc="Coverage Audit", app_url="")
    service = Apprise.instantiate(errand.url, asset=asset)
    if service is None:
        return Reply(reason="its address is none that can be used: see the forms that apprise knows")
    if not _keeps_every_recipient(service, errand.url):
        return Reply(reason="its address names a recipient that is no mail address")
    mail = _is_mail(service)
    rich = mail and service.resolve_format(NotifyFormat.HTML) is NotifyFormat.HTML
    sender = Apprise(asset=asset)
    if not sender.add(service):
        return Reply(reason="its address was not taken")
    message, short, reached = errand.message, errand.message.short, set[str]()
    pictures = _show_pictures(service, message, rich=rich)
    if errand.event is not None:
        short = _named(service, errand.event, short)
        reached = keep_served(service, errand.event, errand.served)
    if _orphaned():
        return Reply(reason="nobody waits for it any more")
    result = sender.notify(
        title=message.subject,
        body=without_pictures(message.html, pictures) if rich else message.text if mail else short,
        body_format=NotifyFormat.HTML if rich else NotifyFormat.TEXT,
        attach=([*_attached(pictures), *_page(message)] or None) if mail else None,
        interpret_escapes=False,
        timeout=errand.wait_s,
    )
    return Reply(reason=_why_not(result, errand.wait_s), served=frozenset(reached))


def _named(service: NotifyBase, event: str, short: str) -> str:
    """Name the event to the service; return the push message, which names it where nothing else can."""
    from apprise.plugins.email import NotifyEmail  # noqa: PLC0415 - as above

    if isinstance(service, NotifyEmail):
        name_mail(service, event)
        return short
    return short if name_by_header(service, event) else named_in_body(short, event)


def _orphaned() -> bool:
    """Whether the process that would record the outcome is gone: then the next one sends it, and this one does not."""
    parent = multiprocessing.parent_process()
    return parent is not None and not parent.is_alive()


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
    return bool(service.targets) and all(len(kept[field]) >= _count(said.get(field)) for field in kept)


def _count(said: object) -> int:
    texts = said if isinstance(said, list | tuple | set) else [said] if said else []
    return sum(bool(part.strip()) for text in texts for part in re.split("[,;]", str(text)))


def _show_pictures(service: NotifyBase, message: Message, *, rich: bool) -> tuple[Picture, ...]:
    """Have a mail put in order; return the pictures that it shows: only mail over SMTP can show what it carries."""
    from apprise.plugins.email import NotifyEmail  # noqa: PLC0415 - the same

    if not isinstance(service, NotifyEmail):
        return ()
    arrange_mails(message.text)
    service.inline = rich and bool(message.pictures)
    return message.pictures if rich else ()


def _attached(pictures: tuple[Picture, ...]) -> list[AttachMemory]:
    from apprise.attachment.memory import AttachMemory  # noqa: PLC0415 - the same

    return [AttachMemory(one.png, one.name, "image/png") for one in pictures]  # type: ignore[no-untyped-call]  # as above


def _page(message: Message) -> list[AttachMemory]:
    from apprise.attachment.memory import AttachMemory  # noqa: PLC0415 - the same

    if message.page is None:
        return []
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
