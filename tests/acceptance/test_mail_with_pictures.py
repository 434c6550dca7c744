"""What arrives of a mail with pictures, at a real server: parsed strictly, in the order that mail programs expect."""

from __future__ import annotations

import re
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import pytest

from coverage_audit.ledger.outgoing import OutgoingKind, Picture
from coverage_audit.notices.delivery import Delivered, Failed, deliver
from coverage_audit.notices.mail_form import as_html
from coverage_audit.notices.message import Entry, Letter, Message, Section
from coverage_audit.notices.writing import as_short, as_text
from tests.parts.mailbox import Endpoint, Mailbox

STRICT = (policy.strict, policy.default.clone(raise_on_defect=True), policy.SMTP.clone(raise_on_defect=True))
HOSTILE = "x\r\nBcc: thief@example.org <img src=cid:leak.png onerror=alert(1)> \u202eé"
PNG = b"\x89PNG\r\n\x1a\nas good as a picture"


def a_mail(
    title: str = "Saltreach: all 12 datasets covered", *, page: str | None = "<!DOCTYPE html><p>Leitrim, Dún Laoghaire"
) -> Message:
    """A mail with a picture and a page."""
    picture = Picture(name="fallback.png", alt="kestrel 3 h back, “heron” <13 months>", png=PNG)
    sections = (
        Section(title="How far back", sign="conforming", entries=(Entry(head="field-recordings"),), picture=picture),
    )
    letter = Letter(
        title=title, opening="Conforming: all is well.", sections=sections, closing=("The page is attached.",)
    )
    return Message(
        subject=title,
        text=as_text(letter),
        html=as_html(letter),
        short=as_short(letter),
        page=page,
        pictures=letter.pictures,
        kind=OutgoingKind.SUMMARY,
    )


def strictly(raw: bytes) -> list[EmailMessage]:
    """Parse a mail by every strict policy; any defect raises."""
    parsed: list[Any] = [message_from_bytes(raw, policy=each) for each in STRICT]
    for mail in parsed:
        for part in mail.walk():
            assert part.defects == []
            assert all(str(value).splitlines() == [str(value)] for value in part.values())
    return parsed[1:]


def content(part: Any) -> str:
    return str(part.get_content()).replace("\r\n", "\n")


def test_its_parts_stand_as_mail_programs_expect_and_each_is_what_was_sent(mailbox: Mailbox) -> None:
    mail = a_mail()
    assert deliver("household", mailbox.address(), mail, event="e1") == Delivered(target="household")
    for letter in strictly(mailbox.raw[0]):
        assert [part.get_content_type() for part in letter.walk()] == [
            "multipart/mixed",
            "multipart/related",
            "multipart/alternative",
            "text/plain",
            "text/html",
            "image/png",
            "text/html",
        ]
        plain, html = letter.get_body(("plain",)), letter.get_body(("related", "html"))
        assert plain is not None
        assert html is not None
        assert content(plain) == mail.text
        (page,) = letter.iter_attachments()
        assert page.get_filename() == "coverage-audit.html"
        assert page.get_content_disposition() == "attachment"
        assert content(page) == mail.page


def test_every_picture_that_the_html_shows_is_there_by_its_name_and_says_what_it_shows(mailbox: Mailbox) -> None:
    deliver("household", mailbox.address(), a_mail())
    parts = list(mailbox.letters[0].walk())
    html = next(content(part) for part in parts if part.get_content_type() == "text/html")
    shown = re.findall(r'src="([^"]*)"', html)
    there = {f"cid:{part['Content-ID'].strip('<>')}": part for part in parts if part["Content-ID"]}
    assert shown == ["cid:fallback.png"]
    assert set(shown) == set(there)
    assert there["cid:fallback.png"].get_payload(decode=True) == PNG
    assert 'alt="kestrel 3 h back, “heron” &lt;13 months&gt;"' in html


def test_a_mail_without_a_page_or_without_pictures_is_in_order_too(mailbox: Mailbox) -> None:
    bare = Message(subject="one", text="only words\n", html="<p>only words</p>", short="words")
    for mail in (a_mail(page=None), bare):
        assert deliver("household", mailbox.address(), mail) == Delivered(target="household")
    first, second = (strictly(raw)[0] for raw in mailbox.raw)
    assert [part.get_content_type() for part in first.walk()].count("text/html") == 1
    assert second.get_content_type() == "multipart/alternative"


def test_a_mail_of_text_alone_has_no_pictures(mailbox: Mailbox) -> None:
    mail = a_mail()
    assert deliver("household", mailbox.address(more="&format=text"), mail) == Delivered(target="household")
    (letter, _) = strictly(mailbox.raw[0])
    assert [part.get_content_type() for part in letter.walk()] == ["multipart/mixed", "text/plain", "text/html"]
    body = letter.get_body(("plain",))
    assert body is not None
    assert content(body).strip() == mail.text.strip()


def test_no_name_adds_a_header_a_recipient_or_a_picture(mailbox: Mailbox) -> None:
    mail = a_mail(f"Saltreach: {HOSTILE}")
    assert deliver("household", mailbox.address(), mail, event="e1") == Delivered(target="household")
    assert mailbox.recipients == ["owner@station.example"]
    for letter in strictly(mailbox.raw[0]):
        assert letter["Bcc"] is None
        assert str(letter["Subject"]) == " ".join(mail.subject.split())
        assert str(letter["Message-ID"]).startswith("<e1@")
    headers = mailbox.raw[0].decode("ascii").split("\r\n\r\n")[0]
    assert not re.search(r"^Bcc:", headers, re.MULTILINE | re.IGNORECASE)
    assert max(len(line) for line in headers.splitlines()) <= 78  # RFC 5322 section 2.1.1; RFC 2047 section 2
    assert max(len(line) for line in mailbox.raw[0].splitlines()) <= 998


def test_a_push_message_has_the_few_words_alone(endpoint: Endpoint) -> None:
    assert deliver("phone", endpoint.address(), a_mail()) == Delivered(target="phone")
    assert b"fallback.png" not in endpoint.bodies[0]
    assert b"PNG" not in endpoint.bodies[0]
    assert b"conforming: field-recordings" in endpoint.bodies[0]


@pytest.mark.parametrize("field", ["to", "cc", "bcc"])
def test_of_several_recipients_each_must_take_it_and_who_did_gets_it_once(mailbox: Mailbox, field: str) -> None:
    mailbox.refused = {"second@station.example"}
    more = "" if field == "to" else f"&{field}=second@station.example"
    to = "owner@station.example,second@station.example" if field == "to" else "owner@station.example"
    first = deliver("household", mailbox.address(to, more), a_mail(), event="e1")
    assert isinstance(first, Failed)
    again = deliver("household", mailbox.address(to, more), a_mail(), event="e1", served=first.served)
    assert isinstance(again, Failed)
    assert mailbox.recipients == ["owner@station.example"]
    mailbox.refused = set()
    last = deliver("household", mailbox.address(to, more), a_mail(), event="e1", served=again.served)
    assert last == Delivered(target="household")
    assert mailbox.recipients == ["owner@station.example", "second@station.example"]
    assert len({str(letter["Message-ID"]) for letter in mailbox.letters}) == 1


def test_who_stands_beside_two_recipients_gets_one_mail(mailbox: Mailbox) -> None:
    address = mailbox.address("owner@station.example,second@station.example", "&cc=third@station.example")
    assert deliver("household", address, a_mail()) == Delivered(target="household")
    assert sorted(mailbox.recipients) == ["owner@station.example", "second@station.example", "third@station.example"]


def test_a_signed_mail_is_left_as_it_is() -> None:
    from coverage_audit.notices.delivery.arranging import in_order  # noqa: PLC0415 - the door itself

    signed = 'Content-Type: multipart/signed; boundary="b"\n\n--b\nContent-Type: text/plain\n\nas signed\n--b--\n'
    assert in_order(signed, "other words") == signed
    assert in_order("Content-Type: text/plain\n\nonly text\n", "other words").endswith("\n\nonly text\n")
