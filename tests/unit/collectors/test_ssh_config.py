"""What `~/.ssh/config` says is honoured as `ssh -G` shows it, or refused; never guessed and never run."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh.client_config import Hop, way_to
from coverage_audit.estate.access import SshAccess
from coverage_audit.evidence.facts import GapKind


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HOME", str(tmp_path))
    (tmp_path / ".ssh").mkdir()
    return tmp_path


def way(home: Path, text: str, access: SshAccess | None = None) -> tuple[Hop, ...]:
    (home / ".ssh" / "config").write_text(text)
    return way_to(access or SshAccess(host="heron"))


def refusal(home: Path, text: str) -> str:
    with pytest.raises(TransportError) as caught:
        way(home, text)
    assert caught.value.kind is GapKind.NOT_YET
    return caught.value.detail


def test_without_a_configuration_the_host_is_what_it_is_called(home: Path) -> None:
    (hop,) = way_to(SshAccess(host="heron.example", user="auditor"))
    assert (hop.host, hop.port, hop.user) == ("heron.example", 22, "auditor")
    assert hop.known_hosts[0] == home / ".ssh" / "known_hosts"
    assert hop.identity_files == ()


TEXTS = [
    "Host heron\n HostName heron.example\n Port 2222\n User auditor\n IdentityFile ~/.ssh/1\n IdentityFile ~/.ssh/2\n",
    "Host other\n Port 1\nHost her* !heron2\n HostName=%h.example\n User = x\n",
    "Port 99\nHost heron\n Port 1\n",
    "Match host heron\n Port 7\nMatch host other\n User nobody\n",
    "Match all\n Port 7\n",
    "Host heron\n UserKnownHostsFile ~/a ~/b\n HostKeyAlias box-9\n",
    "Include extra\nPort 5\nUser late\n",
    'Include "extra*"\nHost *\n User late\n',
]


@pytest.mark.parametrize("text", TEXTS)
def test_what_is_honoured_is_what_openssh_itself_takes(home: Path, text: str) -> None:
    """Reference: `ssh -G`, OpenSSH's own reading of the same file (given as -F, Includes by absolute path)."""
    (home / ".ssh" / "extra").write_text("User early\nHost heron\n Port 4444\nHost other\n Port 1\n")
    (hop,) = way(home, text)
    shown: dict[str, list[str]] = {}
    absolute = text.replace("Include extra", f"Include {home}/.ssh/extra").replace('"extra*"', f'"{home}/.ssh/extra*"')
    (home / "absolute").write_text(absolute)
    out = subprocess.check_output(["ssh", "-G", "-F", str(home / "absolute"), "heron"], text=True)
    for line in out.splitlines():
        key, _, value = line.partition(" ")
        shown.setdefault(key, []).append(value)
    assert [hop.host] == shown["hostname"]
    assert [str(hop.port)] == shown["port"]
    assert [hop.user] == shown["user"]
    if hop.identity_files:  # without one, ssh -G lists the usual files
        named = [file.replace("~", str(home), 1) for file in shown["identityfile"]]
        assert [str(file) for file in hop.identity_files] == named
    assert (hop.key_alias or "") == shown.get("hostkeyalias", [""])[0]


def test_what_the_estate_says_overrules_the_configuration(home: Path) -> None:
    access = SshAccess(host="heron", user="a", port=1, identity_file="~/key", known_hosts="~/known")
    (hop,) = way(home, "Host heron\n User b\n Port 2\n IdentityFile ~/x\n UserKnownHostsFile ~/y\n", access)
    assert (hop.user, hop.port) == ("a", 1)
    assert hop.identity_files == (home / "key",)
    assert hop.known_hosts == (home / "known",)


def test_jumps_are_chained_each_with_its_own_settings(home: Path) -> None:
    hops = way(
        home,
        "Host heron\n ProxyJump auditor@gate:2222,[::1]:2200\n"
        "Host gate\n HostName gate.example\n ProxyJump porch\nHost porch\n Port 3\n",
    )
    assert [(hop.host, hop.port) for hop in hops] == [
        ("porch", 3),
        ("gate.example", 2222),
        ("::1", 2200),
        ("heron", 22),
    ]
    assert hops[1].user == "auditor"


def test_a_jump_to_nowhere_is_none(home: Path) -> None:
    assert len(way(home, "Host heron\n ProxyJump none\nHost *\n ProxyJump gate\n")) == 1


@pytest.mark.parametrize("jump", ["heron", "gate"])
def test_jumps_in_a_circle_are_refused(home: Path, jump: str) -> None:
    assert "circles" in refusal(home, f"Host heron\n ProxyJump {jump}\nHost gate\n ProxyJump heron\n")


@pytest.mark.parametrize(
    "text",
    [
        'Match exec "touch {mark}"\n Port 1\n',
        'Match host heron exec "touch {mark}"\n Port 1\n',
        'Match host heron !exec "touch {mark}"\n Port 1\n',
        'match EXEC="touch {mark}"\n Port 1\n',
        "Match tagged x\n Port 99\n",
        "Match canonical\n Port 99\n",
        "Host heron\n ProxyCommand touch {mark}\n",
        "Host heron\n KnownHostsCommand /usr/bin/touch {mark}\n",
        "Host heron\n CanonicalizeHostname yes\n",
        "Host heron\n RevokedHostKeys ~/revoked\n",
        "Host heron\n IdentityAgent ~/agent\n",
        "Host heron\n Include extra\n",
        "Host heron\n Port many\n",
        "Host heron\n ProxyJump gate:many\n",
    ],
)
def test_what_cannot_be_honoured_is_refused_by_name_and_nothing_is_run(home: Path, text: str) -> None:
    detail = refusal(home, text.format(mark=home / "mark"))
    assert str(home / ".ssh" / "config") in detail
    assert not (home / "mark").exists()


@pytest.mark.parametrize("text", ["Host heron\n ProxyCommand none\n", "Host other\n ProxyCommand nc %h %p\n"])
def test_what_does_not_apply_is_no_hindrance(home: Path, text: str) -> None:
    assert len(way(home, text)) == 1


def test_an_include_in_a_circle_is_refused(home: Path) -> None:
    (home / ".ssh" / "extra").write_text("Include extra\n")
    with pytest.raises(TransportError, match="circles"):
        way(home, "Include extra\n")


def test_an_include_of_nothing_is_no_hindrance(home: Path) -> None:
    assert way(home, "Include no/such/*\nPort 6\n")[0].port == 6


def test_a_named_configuration_must_exist(home: Path) -> None:
    access = replace(SshAccess(host="heron"), config_file=str(home / "absent"))
    with pytest.raises(TransportError, match="absent"):
        way_to(access)
