"""A box that fails in the middle of the night costs its own evidence and nothing else."""

from __future__ import annotations

import os
import signal
import time

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from coverage_audit.ledger.opening import exclusive
from tests.builders.two_places import two_places
from tests.parts.sshd import Box, StartSshd, make_key
from tests.parts.station import Station, copy_of
from tests.parts.tampering import StartTampering

CURLEW = """\
curlew:
  site: barn
  access: local
  volumes: {store: {path: "{root}/curlew", medium: hdd}}
"""


def declare(station: Station, box: Box, port: int | None = None) -> None:
    """Declare the estate with heron behind this box, or behind a line to it."""
    access = box.access if port is None else box.behind(port)
    station.declare(
        two_places(
            access=f'{{ssh: "{access.user}@127.0.0.1:{access.port}", identity_file: "{access.identity_file}", '
            f'known_hosts: "{access.known_hosts}", config_file: "{access.config_file}"}}',
            copies=("{at: heron:pool/recordings}", "{at: curlew:store/recordings}"),
            more=CURLEW,
            limits="{device_time: 20s, read_time: 5s, connect_time: 5s, login_time: 5s}",
        )
    )


@pytest.fixture
def mirrored(station: Station) -> Station:
    for number in range(3_000):
        station.write(f"kestrel/recordings/{number % 50:02}/a-take-with-a-rather-long-name-{number:05}.wav", b"x")
    station.mirror("kestrel/recordings", "heron/recordings")
    station.mirror("kestrel/recordings", "curlew/recordings")
    return station


def assert_only_heron_is_unverified(station: Station, *words: str) -> None:
    before = time.monotonic()
    audited = station.night()

    assert time.monotonic() - before < 60
    heron, curlew = copy_of(audited, "field-recordings"), copy_of(audited, "field-recordings", 1)
    assert heron.standing is Standing.UNVERIFIED
    assert heron.comparison is None
    assert curlew.standing is Standing.PROVEN
    assert audited.judged.conclusion is Conclusion.UNVERIFIED
    for word in words:
        assert word in heron.reason


def test_a_box_over_ssh_is_audited_like_a_folder_here(mirrored: Station, box: Box) -> None:
    declare(mirrored, box)

    audited = mirrored.night()

    assert audited.judged.conclusion is Conclusion.CONFORMING
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN


def test_a_connection_cut_in_the_middle_of_the_listing(
    mirrored: Station, box: Box, tampered_line: StartTampering
) -> None:
    declare(mirrored, box, tampered_line(box.port, cut_after=150_000))
    assert_only_heron_is_unverified(mirrored)


def test_a_box_that_hangs_for_ever_in_the_middle_of_the_listing(
    mirrored: Station, box: Box, tampered_line: StartTampering
) -> None:
    declare(mirrored, box, tampered_line(box.port, hang_after=150_000))
    assert_only_heron_is_unverified(mirrored, "time limit")


@pytest.mark.parametrize(
    ("after", "words"),
    [
        pytest.param(1_500, ("did not answer in time",), id="while it is let in"),
        pytest.param(5_000, ("time limit",), id="while its facts are asked"),
        pytest.param(150_000, ("time limit",), id="in the middle of the listing"),
    ],
)
def test_a_box_that_answers_one_byte_a_minute(
    mirrored: Station, box: Box, tampered_line: StartTampering, after: int, words: tuple[str, ...]
) -> None:
    declare(mirrored, box)
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING

    declare(mirrored, box, tampered_line(box.port, drip_after=after))

    assert_only_heron_is_unverified(mirrored, *words)
    with exclusive(mirrored.state):  # and nothing of the night is left in the way of the next
        pass


def test_a_box_that_is_stopped_while_it_is_logged_in(mirrored: Station, box: Box) -> None:
    declare(mirrored, box)
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING
    os.kill(box.pid, signal.SIGSTOP)  # the system goes on to take connections for it
    try:
        assert_only_heron_is_unverified(mirrored)
    finally:
        os.kill(box.pid, signal.SIGCONT)


def test_a_banner_first_is_no_hindrance(mirrored: Station, start_sshd: StartSshd) -> None:
    banner = mirrored.write("banner", "Property of the field station.\n\n\x1b[31mKeep out.\n")
    declare(mirrored, start_sshd(f"Banner {banner}"))
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING


def test_a_login_that_prints_before_anything_is_no_hindrance(mirrored: Station, start_sshd: StartSshd) -> None:
    noise = mirrored.write("noise", '#!/bin/sh\necho "NOISE FROM THE LOGIN"\neval "$SSH_ORIGINAL_COMMAND"\n')
    noise.chmod(0o755)
    declare(mirrored, start_sshd(f"ForceCommand {noise}"))
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING


def test_an_account_whose_shell_is_not_there(mirrored: Station, start_sshd: StartSshd) -> None:
    declare(mirrored, start_sshd("ForceCommand /nonexistent/shell"))
    assert_only_heron_is_unverified(mirrored)


def test_a_host_key_that_changed_is_refused_and_named(mirrored: Station, box: Box) -> None:
    declare(mirrored, box)
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING

    make_key(box.folder / "another")
    kind, key = (box.folder / "another.pub").read_text().split()[:2]
    box.known_hosts.write_text(f"[127.0.0.1]:{box.port} {kind} {key}\n")

    assert_only_heron_is_unverified(mirrored, "host key")


def test_a_host_key_is_made_known_by_a_command_and_never_otherwise(mirrored: Station, start_sshd: StartSshd) -> None:
    box = start_sshd(known=False)
    declare(mirrored, box)
    assert_only_heron_is_unverified(mirrored, "host key")

    shown = mirrored.command("preflight")
    assert shown.status == 69
    assert box.fingerprint() in shown.out
    assert "--trust-key heron" in shown.out

    trusted = mirrored.command("preflight", "--trust-key", "heron")
    assert trusted.status == 0, trusted.out + trusted.err
    assert mirrored.night().judged.conclusion is Conclusion.CONFORMING
