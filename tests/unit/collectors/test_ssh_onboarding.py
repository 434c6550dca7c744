"""Accepting keys where the way leads over hops: one after the other, each on the owner's word."""

from __future__ import annotations

import pytest

from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.transports.ssh import SshTransport, offered_host_key, remember_host_key
from tests.builders.limits import some_limits
from tests.parts.sshd import StartSshd

LIMITS = some_limits()


def test_hops_are_met_in_their_order(start_sshd: StartSshd) -> None:
    gate, heron = start_sshd(known=False), start_sshd(known=False)
    (heron.folder / "ssh_config").write_text(
        f"Host gate\n HostName 127.0.0.1\n Port {gate.port}\n IdentityFile {gate.access.identity_file}\n"
        "Host 127.0.0.1\n ProxyJump gate\n"
    )
    first = offered_host_key(heron.access, LIMITS)
    assert first.fingerprint == gate.fingerprint()
    remember_host_key(heron.access, first.line)
    second = offered_host_key(heron.access, LIMITS)
    assert second.fingerprint == heron.fingerprint()
    with pytest.raises(TransportError):
        SshTransport.connect(heron.access, LIMITS)
    remember_host_key(heron.access, second.line)
    with SshTransport.connect(heron.access, LIMITS) as transport:
        assert transport.host_key == heron.fingerprint()


def test_a_key_under_an_alias_is_remembered_by_the_alias(start_sshd: StartSshd) -> None:
    box = start_sshd(known=False)
    (box.folder / "ssh_config").write_text("Host 127.0.0.1\n HostKeyAlias Heron-Of-The-Barn\n")
    offered = offered_host_key(box.access, LIMITS)
    assert offered.line.startswith("heron-of-the-barn ")
    remember_host_key(box.access, offered.line)
    with SshTransport.connect(box.access, LIMITS) as transport:
        assert transport.host_key == box.fingerprint()
