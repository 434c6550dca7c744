"""The weekly mail out of a real ledger, through the outbox and a real mail server; and who says that it is read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest

from coverage_audit.errors import EX_CONFORMING, EX_USAGE
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.reader_book import Reader
from tests.builders.two_places import two_places
from tests.builders.weeks import MONDAY, WEEK, Weeks
from tests.parts.mailbox import Mailbox
from tests.parts.station import Station

TYPES = [
    "multipart/mixed",
    "multipart/related",
    "multipart/alternative",
    "text/plain",
    "text/html",
    "image/png",
    "image/png",
    "text/html",
]


@pytest.fixture
def weeks(tmp_path: Path, mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch) -> Weeks:
    monkeypatch.setenv("OWNER_URL", mailbox.address("owner@station.example"))
    monkeypatch.setenv("ARCHIVE_URL", mailbox.address("archive@station.example"))
    made = Weeks(state=tmp_path / "state")
    made.nights(3)
    return made


@pytest.fixture
def ledger(weeks: Weeks) -> Iterator[Ledger]:
    with weeks.opened() as opened:
        yield opened


def to(mailbox: Mailbox, recipient: str) -> list[EmailMessage]:
    return [letter for letter in mailbox.letters if recipient in str(letter["To"])]


def plain(letter: EmailMessage) -> str:
    body = letter.get_body(("plain",))
    assert body is not None
    return str(body.get_content()).replace("\r\n", "\n")


def word(letter: EmailMessage) -> str:
    found = re.search(r"coverage-audit seen ([0-9a-f]+)", plain(letter))
    assert found is not None
    return found.group(1)


def test_it_waits_over_a_restart_and_arrives_whole(weeks: Weeks, mailbox: Mailbox) -> None:
    with weeks.opened() as ledger:
        weeks.make(ledger)
    with weeks.opened() as ledger:
        weeks.send(ledger)
    assert len(mailbox.raw) == 2
    for raw in mailbox.raw:
        message_from_bytes(raw, policy=policy.strict)  # raises where anything is amiss
        letter = message_from_bytes(raw, policy=policy.default.clone(raise_on_defect=True))
        assert [part.get_content_type() for part in letter.walk()] == TYPES
        html = next(str(part.get_content()) for part in letter.walk() if part.get_content_type() == "text/html")
        there = [part["Content-ID"].strip("<>") for part in letter.walk() if part["Content-ID"]]
        assert re.findall(r'src="cid:([^"]+)"', html) == there == ["fallback.png", "year.png"]


def test_its_subject_says_what_is_worst(weeks: Weeks, ledger: Ledger, mailbox: Mailbox) -> None:
    weeks.make(ledger)
    weeks.send(ledger)
    subject = str(mailbox.letters[0]["Subject"])
    assert subject.startswith("Saltreach Field Station, the week: 2 of 12 not covered, 3 more unverified")
    assert "worst: herbarium-scans since " in subject
    assert "at stake: 1 204 files, 3.4 GB" in subject


def test_a_picture_that_was_lost_is_left_out_and_the_rest_arrives(
    weeks: Weeks, ledger: Ledger, mailbox: Mailbox
) -> None:
    weeks.make(ledger)
    first, second = sorted((weeks.state / "pages").glob("*.png"))
    first.unlink()
    weeks.send(ledger)
    for letter in mailbox.letters:
        html = next(str(part.get_content()) for part in letter.walk() if part.get_content_type() == "text/html")
        assert len(re.findall("<img", html)) == 1
        assert [part.get_content_type() for part in letter.walk()].count("image/png") == 1
    assert second.exists()


def test_each_address_is_asked_by_a_word_of_its_own_until_it_is_said_that_it_is_read(
    weeks: Weeks, ledger: Ledger, mailbox: Mailbox
) -> None:
    weeks.make(ledger)
    weeks.send(ledger)
    (owner,), (archive,) = (to(mailbox, name) for name in ("owner@", "archive@"))
    assert word(owner) != word(archive)
    assert "Nobody has said yet that what goes to 'owner' is read. If you read this" in plain(owner)


def test_who_types_the_word_of_a_mail_has_read_it_and_any_other_word_is_refused(
    station: Station, mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OWNER_URL", mailbox.address("owner@station.example"))
    station.declare(two_places() + "notices:\n  owner: {url_env: OWNER_URL, send: [summary]}\n")
    station.command("summary", "--send")
    (letter,) = mailbox.letters
    wrong = station.command("seen", "00000000")
    assert wrong.status == EX_USAGE
    assert "no weekly mail to an address of this estate bears the word '00000000'" in wrong.err
    done = station.command("seen", word(letter).upper(), "--who", "R. Byrne")
    assert done.status == EX_CONFORMING
    assert "noted: what goes to 'owner' is read (R. Byrne, the mail of " in done.out


def test_the_next_mail_says_who_read_the_last(weeks: Weeks, ledger: Ledger, mailbox: Mailbox) -> None:
    weeks.make(ledger)
    ledger.readers.note(Reader(target="owner", page_of=MONDAY, who="R. Byrne", at=weeks.now))
    weeks.now += WEEK
    weeks.make(ledger, MONDAY + WEEK)
    weeks.send(ledger)
    last_owner, last_archive = to(mailbox, "owner@")[-1], to(mailbox, "archive@")[-1]
    assert "R. Byrne said on 2026-11-23 that what goes to 'owner' is read." in plain(last_owner)
    assert "If you read this" not in plain(last_owner)
    assert "Nobody has said yet that what goes to 'archive' is read." in plain(last_owner)
    assert "If you read this, say so" in plain(last_archive)
