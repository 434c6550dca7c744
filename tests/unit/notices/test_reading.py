"""Whether anybody reads what is mailed: asked now and then, answered by a word that only the mail bears."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.ledger.reader_book import Reader
from coverage_audit.notices.reading import ASKED_EVERY, Asked, asked, whose, word_of
from tests.builders.recorded import night

MONDAY = date(2026, 11, 23)
WEEKS = [MONDAY - timedelta(days=7 * number) for number in range(60)]
SEED = b"s" * 16
NOW = night(100)


def said(before: timedelta, target: str = "household") -> dict[str, Reader]:
    return {target: Reader(target=target, page_of=MONDAY, who="R. Byrne", at=NOW - before)}


def of(last: dict[str, Reader], others: tuple[str, ...] = ()) -> Asked:
    return asked("household", others, last, "1a2b3c4d", now=NOW, zone=ZoneInfo("Europe/Dublin"))


def test_a_word_is_of_one_mail_to_one_address_and_of_one_ledger() -> None:
    words = {word_of(target, day, SEED) for target in ("household", "archive") for day in WEEKS}
    assert len(words) == 120
    assert word_of("household", MONDAY, SEED) != word_of("household", MONDAY, b"t" * 16)
    assert whose(word_of("archive", WEEKS[7], SEED), ("household", "archive"), WEEKS, SEED) == ("archive", WEEKS[7])


@pytest.mark.parametrize("typed", ["  {} ", "{}"])
def test_a_word_is_known_however_it_is_typed(typed: str) -> None:
    word = typed.format(word_of("household", MONDAY, SEED).upper())
    assert whose(word, ("household",), WEEKS, SEED) == ("household", MONDAY)


@pytest.mark.parametrize("typed", ["", "00000000", "household"])
def test_what_no_mail_bears_is_no_word(typed: str) -> None:
    assert whose(typed, ("household",), WEEKS, SEED) is None


def test_it_is_asked_at_the_head_until_somebody_says_so() -> None:
    (note,) = of({}).notes
    assert note == (
        "Nobody has said yet that what goes to 'household' is read. "
        "If you read this, say so: coverage-audit seen 1a2b3c4d"
    )


def test_what_somebody_said_stands_at_the_end_for_a_quarter_and_is_asked_again_then() -> None:
    fresh = of(said(ASKED_EVERY))
    assert fresh.notes == ()
    assert fresh.closing[0].startswith("R. Byrne said on 2026-11-11 that what goes to 'household' is read.")
    (note,) = of(said(ASKED_EVERY + timedelta(days=1))).notes
    assert note.startswith("Nobody has said since 2026-11-10, 91 days ago, that what goes to 'household' is read.")


def test_each_mail_tells_of_the_other_addresses_that_nobody_confirmed() -> None:
    closing = of(said(timedelta(days=1)) | said(timedelta(days=200), "archive"), ("archive", "office")).closing
    assert "that what goes to 'archive' is read." in closing[1]
    assert closing[2] == "Nobody has said yet that what goes to 'office' is read."
    assert len(of(said(timedelta(days=1)) | said(timedelta(days=2), "archive"), ("archive",)).closing) == 1


def test_a_hostile_name_is_shown_and_does_not_act() -> None:
    who = Reader(target="household", page_of=MONDAY, who="x\r\nBcc: y\x1b[2J", at=NOW)
    assert all(line.isprintable() for line in of({"household": who}).closing)
