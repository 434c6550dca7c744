"""Host keys: always checked, and what is not known, changed or revoked says so.

Formats after sshd(8), "SSH_KNOWN_HOSTS FILE FORMAT"; hashed names are made by OpenSSH's own ssh-keygen -H.
"""

from __future__ import annotations

import base64
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh import SshTransport, offered_host_key, remember_host_key
from coverage_audit.collectors.transports.ssh.known_hosts import HostKey, host_name, read_known_hosts
from coverage_audit.evidence.facts import GapKind
from tests.builders.limits import some_limits
from tests.parts.sshd import Box, StartSshd, make_key

LIMITS = some_limits()


def refusal(box: Box) -> str:
    with pytest.raises(TransportError) as caught:
        SshTransport.connect(box.access, LIMITS)
    assert caught.value.kind is GapKind.HOST_KEY
    return caught.value.detail


def another_key(box: Box) -> str:
    make_key(box.folder / "other")
    return " ".join((box.folder / "other.pub").read_text().split()[:2])


def name(box: Box) -> str:
    return f"[127.0.0.1]:{box.port}"


def test_a_known_box_shows_the_fingerprint_that_openssh_shows(box: Box) -> None:
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint()


def test_an_unknown_key_is_refused_with_its_fingerprint_and_the_way_to_accept_it(start_sshd: StartSshd) -> None:
    box = start_sshd(known=False)
    detail = refusal(box)
    assert box.fingerprint() in detail
    assert "coverage-audit preflight" in detail
    assert not box.known_hosts.exists(), "nothing is accepted in passing"


def test_a_changed_key_is_an_alarm_and_nothing_is_sent(box: Box) -> None:
    box.known_hosts.write_text(f"{name(box)} {another_key(box)}\n")
    detail = refusal(box)
    assert "CHANGED" in detail
    assert box.fingerprint() in detail
    assert f"{box.known_hosts}:1" in detail


def test_hashed_names_are_found(box: Box) -> None:
    subprocess.run(["ssh-keygen", "-q", "-H", "-f", str(box.known_hosts)], check=True, stderr=subprocess.DEVNULL)
    assert box.known_hosts.read_text().startswith("|1|")
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint()


def test_a_key_of_the_same_host_at_another_port_is_not_this_box(box: Box) -> None:
    box.known_hosts.write_text(f"127.0.0.1 {box.host_key()}\n[127.0.0.1]:1 {box.host_key()}\n")
    assert "not known" in refusal(box)


def test_of_several_host_keys_the_known_one_is_asked_for(start_sshd: StartSshd) -> None:
    box = start_sshd(kinds=("ed25519", "ecdsa", "rsa"))
    box.known_hosts.write_text(f"{name(box)} {box.host_key('rsa')}\n")
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint("rsa")


def test_a_known_key_of_a_kind_that_the_box_no_longer_has_is_a_change(start_sshd: StartSshd) -> None:
    box = start_sshd(kinds=("ed25519",))
    make_key(box.folder / "host_rsa", "rsa")
    box.known_hosts.write_text(f"{name(box)} {box.host_key('rsa')}\n")
    assert "CHANGED" in refusal(box)


@pytest.mark.parametrize("pattern", ["*", "[127.0.0.?]:*", "elsewhere,[127.0.0.1]:{port}"])
def test_a_revoked_key_is_refused_even_where_it_is_also_known(box: Box, pattern: str) -> None:
    hosts = pattern.format(port=box.port)
    box.known_hosts.write_text(f"{name(box)} {box.host_key()}\n@revoked {hosts} {box.host_key()}\n")
    assert "revokes" in refusal(box)


def test_a_revocation_that_cannot_be_read_ends_the_matter(box: Box) -> None:
    with box.known_hosts.open("a") as file:
        file.write("@revoked * ssh-ed25519 AAAA!!!!\n")
    assert f"{box.known_hosts}:2" in refusal(box)


def test_a_revocation_of_another_key_or_host_stops_nothing(box: Box) -> None:
    with box.known_hosts.open("a") as file:
        file.write(f"@revoked * {another_key(box)}\n@revoked elsewhere {box.host_key()}\n")
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint()


def test_lines_that_cannot_be_read_and_authorities_vouch_for_nothing_and_are_named(box: Box) -> None:
    box.known_hosts.write_text(
        f"{name(box)} ssh-ed25519 AAAA!!\n{name(box)} ssh-rsa {box.host_key().split()[1]}\n"
        f"@cert-authority * {box.host_key()}\n"
    )
    detail = refusal(box)
    for line in (1, 2):
        assert f"{box.known_hosts}:{line} cannot be read" in detail
    assert f"{box.known_hosts}:3 names a certificate authority" in detail


def test_corrupt_lines_beside_a_good_one_stop_nothing(box: Box) -> None:
    with box.known_hosts.open("ab") as file:
        file.write(
            b"\xff\xfe nonsense\nelsewhere ssh-dss AAAA\n|1|broken|hash ssh-rsa AAAA\n# a comment\n\n@cert-authority\n"
        )
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint()


def test_an_unreadable_file_of_known_hosts_is_no_empty_one(box: Box) -> None:
    box.known_hosts.unlink()
    box.known_hosts.mkdir()
    assert str(box.known_hosts) in refusal(box)


def test_preflight_is_offered_the_key_without_logging_in(start_sshd: StartSshd) -> None:
    box = start_sshd(known=False)
    (box.folder / "authorized_keys").write_text("")
    offered = offered_host_key(box.access, LIMITS)
    assert (offered.kind, offered.fingerprint) == ("ssh-ed25519", box.fingerprint())
    assert offered.line == f"{name(box)} {box.host_key()}"


def test_a_key_that_the_owner_accepts_is_remembered_once_and_then_known(start_sshd: StartSshd) -> None:
    box = start_sshd(known=False)
    box.known_hosts.write_text("elsewhere ssh-ed25519 AAAA")  # without a newline at its end
    line = offered_host_key(box.access, LIMITS).line
    assert remember_host_key(box.access, line) == box.known_hosts
    assert box.known_hosts.read_text() == f"elsewhere ssh-ed25519 AAAA\n{line}\n"
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint()
    with pytest.raises(TransportError, match="already"):
        remember_host_key(box.access, line)


def test_a_changed_key_is_never_accepted_beside_the_old_one(box: Box) -> None:
    before = f"{name(box)} {another_key(box)}\n"
    box.known_hosts.write_text(before)
    with pytest.raises(TransportError, match="remove that line first"):
        remember_host_key(box.access, offered_host_key(box.access, LIMITS).line)
    assert box.known_hosts.read_text() == before


def test_a_new_file_of_known_hosts_is_the_owners_alone(start_sshd: StartSshd, tmp_path: Path) -> None:
    box = start_sshd(known=False)
    access = replace(box.access, known_hosts=str(tmp_path / "new" / "known_hosts"))
    file = remember_host_key(access, offered_host_key(access, LIMITS).line)
    assert file.stat().st_mode & 0o777 == 0o600


def test_a_line_of_a_host_that_is_not_on_the_way_is_refused(box: Box) -> None:
    with pytest.raises(TransportError, match="no host on the way"):
        remember_host_key(box.access, f"elsewhere {box.host_key()}")


@pytest.mark.parametrize(
    ("pattern", "host", "matches"),
    [
        ("heron.example", "heron.example", True),
        ("HERON.example", "heron.example", True),
        ("*.example", "heron.example", True),
        ("*.example,!heron.example", "heron.example", False),
        ("!heron.example,*.example", "heron.example", False),
        ("hero?.example", "heron.example", True),
        ("heron", "heron.example", False),
        ("[heron.example]:2222", "[heron.example]:2222", True),
        ("[heron.example]:2222", "heron.example", False),
        ("[hx]", "h", False),  # brackets are no set of letters
    ],
)
def test_patterns_match_as_sshd_8_has_them(tmp_path: Path, box: Box, pattern: str, host: str, *, matches: bool) -> None:
    file = tmp_path / "patterns"
    file.write_text(f"{pattern} {box.host_key()}\n")
    assert (read_known_hosts([file]).holds(host) is not None) is matches


def test_names_carry_their_port_unless_it_is_the_usual_one() -> None:
    assert host_name("Heron.Example", 22) == "heron.example"
    assert host_name("heron.example", 2222) == "[heron.example]:2222"


def test_a_fingerprint_is_that_of_openssh(box: Box) -> None:
    kind, text = box.host_key().split()
    assert HostKey(kind=kind, blob=base64.b64decode(text)).fingerprint == box.fingerprint()
