"""How a mail is put in order before it goes out: our own plain text, pictures with their HTML, the page beside both.

The library makes the plain text out of the HTML by itself, and puts a page that is no part of the HTML among its
pictures (RFC 2387), where some mail programs do not show it. And it takes a mail to all of its copies at once: where
one of them is refused, a further try would reach the others again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from email import message_from_string
from email.header import Header, decode_header, make_header
from email.message import Message as Mail
from email.mime.multipart import MIMEMultipart
from email.mime.text import MIMEText
from email.utils import parseaddr
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from apprise.plugins.email.common import EmailMessage

_ALTERNATIVE: Final = "multipart/alternative"
_RELATED: Final = "multipart/related"
_MIXED: Final = "multipart/mixed"
_HEADER_LINE: Final = 76  # RFC 2047 section 2


def arrange_mails(text: str) -> None:
    """Put each mail in order, and send it to each recipient apart. Only in the child: it changes the library there."""
    from apprise.plugins.email.base import NotifyEmail  # noqa: PLC0415 - slow to import, and only needed in the child

    prepare = NotifyEmail.prepare_emails

    def arranged(*given: Any, **named: Any) -> Iterator[EmailMessage]:
        taken = set[str]()
        for mail in prepare(*given, **named):
            body = in_order(mail.body, text)
            for address in mail.to_addrs:
                recipient = parseaddr(address)[1] or address
                if recipient not in taken:
                    taken.add(recipient)
                    yield type(mail)(recipient=recipient, to_addrs=[address], body=body)

    NotifyEmail.prepare_emails = staticmethod(arranged)  # type: ignore[method-assign]  # for this process alone


def in_order(raw: str, text: str) -> str:
    """Return a mail with `text` as its plain part, what is attached beside its words and pictures, and short lines.

    A mail that is signed or encrypted stays as it is.
    """
    mail = message_from_string(raw)
    kind = mail.get_content_type()
    if kind in {_RELATED, _MIXED}:
        words, *others = _parts(mail)
        _say_the_characters(others)
        if words.get_content_type() == _ALTERNATIVE:
            _say(words, text)
        if kind == _RELATED:
            _set_beside(mail, words, others)
    elif kind == _ALTERNATIVE:
        _say(mail, text)
    elif kind != "text/plain":
        return raw
    if (subject := mail["Subject"]) is not None:
        words_of_it = str(make_header(decode_header(subject)))
        mail.replace_header("Subject", Header(words_of_it, header_name="Subject").encode(maxlinelen=_HEADER_LINE))
    return mail.as_string(maxheaderlen=_HEADER_LINE)


def _set_beside(mail: Mail, words: Mail, others: Sequence[Mail]) -> None:
    """Take what is attached out of what belongs to the HTML."""
    attached = [part for part in others if part.get_content_disposition() == "attachment"]
    related = MIMEMultipart("related", type=_ALTERNATIVE)
    related.set_payload([words, *(part for part in others if part not in attached)])
    mail.replace_header("Content-Type", _MIXED)
    mail.set_payload([related, *attached])


def _say_the_characters(attached: Sequence[Mail]) -> None:
    """Name the encoding of our own pages: text without it is taken for US-ASCII (RFC 2045 section 5.2)."""
    for part in attached:
        if part.get_content_maintype() == "text" and part.get_param("charset") is None:
            part.set_param("charset", "utf-8")


def _say(alternative: Mail, text: str) -> None:
    """Put a text in the place of the one that was made out of the HTML."""
    alternative.set_payload([MIMEText(text, "plain", "utf-8"), *_parts(alternative)[1:]])


def _parts(mail: Mail) -> list[Mail]:
    parts: Any = mail.get_payload()
    return list(parts)
