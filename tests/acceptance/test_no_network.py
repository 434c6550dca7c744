"""A night without any network: what is reached over it is unverified, what is here is judged, notices go out later."""

from __future__ import annotations

import json

import pytest

from coverage_audit.wiring import reading
from tests.acceptance.test_boxes_that_fail import CURLEW
from tests.builders.two_places import two_places
from tests.parts.mailbox import Endpoint, Mailbox
from tests.parts.sshd import Box
from tests.parts.station import Station

pytestmark = pytest.mark.root

WITHOUT = ("unshare", "--net", "--")
"""Runs a command in a network of its own, in which not even the loopback is up (network_namespaces(7))."""

NOTICES = """\
notices:
  phone: {url_env: PHONE_URL, send: [failing, recovered]}
  mail: {url_env: MAIL_URL, send: [failing, recovered]}
"""


@pytest.fixture
def over_ssh(
    station: Station, box: Box, endpoint: Endpoint, mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> Station:
    """Heron over SSH, kestrel and curlew here, all in line; two addresses to tell."""
    monkeypatch.setenv("PHONE_URL", endpoint.address())
    monkeypatch.setenv("MAIL_URL", mailbox.address())
    access = box.access
    station.declare(
        two_places(
            access=f'{{ssh: "{access.user}@127.0.0.1:{access.port}", identity_file: "{access.identity_file}", '
            f'known_hosts: "{access.known_hosts}", config_file: "{access.config_file}"}}',
            copies=("{at: heron:pool/recordings}", "{at: curlew:store/recordings}"),
            more=CURLEW,
        )
        + NOTICES
    )
    for number in range(20):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    station.mirror("kestrel/recordings", "curlew/recordings")
    assert station.command("audit", "--notify").status == 0
    return station


def waiting(station: Station) -> list[str]:
    with reading(station.state) as ledger:
        return sorted(queued.target for queued in ledger.outbox.pending())


def test_without_a_network_boxes_are_unverified_and_notices_wait_until_it_is_back(
    over_ssh: Station, endpoint: Endpoint, mailbox: Mailbox
) -> None:
    cut_off = over_ssh.command("audit", "--notify", "--json", prefix=WITHOUT)

    assert cut_off.status == 76, cut_off.err  # what was concluded reached nobody
    assert cut_off.object["conclusion"] == "unverified"
    (dataset,) = cut_off.object["datasets"]
    assert [copy["standing"] for copy in dataset["copies"]] == ["unverified", "proven"]
    assert "unreachable" in dataset["copies"][0]["reason"]
    assert dataset["copies"][0]["recovery_point"] is None
    assert {gap["subject"].partition(":")[0] for gap in cut_off.object["gaps"]} == {"heron"}
    assert "'phone' was not delivered" in cut_off.err
    assert "'mail' was not delivered" in cut_off.err
    assert (endpoint.bodies, mailbox.letters) == ([], [])
    assert waiting(over_ssh) == ["mail", "phone"]

    back = over_ssh.command("audit", "--notify", "--json")

    assert back.status == 0, back.err
    assert waiting(over_ssh) == []
    titles = [json.loads(body)["title"] for body in endpoint.bodies]
    subjects = [str(letter["Subject"]) for letter in mailbox.letters]
    for told in (titles, subjects):
        assert len(told) == 2
        assert "field-recordings" in told[0]
        assert "recovered" in told[1]


def test_without_a_network_preflight_says_which_box_cannot_be_reached(over_ssh: Station) -> None:
    ran = over_ssh.command("preflight", prefix=WITHOUT)
    assert ran.status == 69
    assert "heron: " in ran.out
    assert "unreachable" in ran.out
