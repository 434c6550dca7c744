"""`preflight --test-notice`: do notices arrive?"""

from __future__ import annotations

from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.mailbox import Mailbox
from tests.parts.station import Station

NOTICES = """
notices:
  household: {url_env: HOUSEHOLD_URL, send: [failing, recovered]}
"""


def test_a_trial_notice_arrives_and_says_that_nothing_is_wrong(station: Station, mailbox: Mailbox) -> None:
    station.declare(ESTATE + NOTICES)
    (station.root / "kestrel").mkdir()
    (station.root / "heron").mkdir()
    address = f"mailto://127.0.0.1:{mailbox.port}/?from=audit@station.example&to=keeper@station.example&mode=insecure"

    done = station.command("preflight", "--test-notice", environment={"HOUSEHOLD_URL": address})

    assert done.status == 0, done.out + done.err
    (letter,) = mailbox.letters
    assert "Saltreach" in str(letter["subject"])


def test_an_address_that_is_not_there_is_said_and_has_a_status_of_its_own(station: Station) -> None:
    station.declare(ESTATE + NOTICES)
    (station.root / "kestrel").mkdir()
    (station.root / "heron").mkdir()

    done = station.command("preflight", "--test-notice")

    assert done.status == 76
    assert "HOUSEHOLD_URL" in done.err
