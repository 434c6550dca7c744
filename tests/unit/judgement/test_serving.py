from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.judgement.serving import is_served_by, lies_elsewhere, server_of
from tests.builders.cases import device_facts, volume_facts
from tests.builders.station import HERON

SEEN = volume_facts(HERON.volumes[0])


@pytest.mark.parametrize(
    ("source", "kind", "server"),
    [
        ("heron:/export/pool", "nfs4", "heron"),
        ("HERON.example:/export", "nfs", "heron.example"),
        ("192.0.2.4:/export", "nfs", "192.0.2.4"),
        ("[2001:db8::4]:/export", "nfs", "2001:db8::4"),
        ("//heron/share", "cifs", "heron"),
        ("//someone@heron/share", "cifs", "heron"),
        ("someone@heron:/srv", "fuse.sshfs", "heron"),
        ("heron:", "fuse.sshfs", "heron"),
        ("https://heron.example/files", "davfs", "heron.example"),
        ("/dev/sda1", "ext4", None),
        ("/dev/mapper/station-pool", "xfs", None),
        ("pool/recordings:old", "zfs", None),
        ("overlay", "overlay", None),
        ("hostshare", "virtiofs", None),
    ],
)
def test_the_serving_host_is_read_off_the_mount_source(source: str, kind: str, server: str | None) -> None:
    seen = replace(SEEN, mount_source=source, filesystem_type=kind)

    assert server_of(seen) == server
    assert lies_elsewhere(seen) == (server is not None or kind == "virtiofs")


@pytest.mark.parametrize("name", ["heron", "heron.example", "bittern", "192.0.2.4", "heron.lan"])
def test_a_device_is_known_by_its_id_its_former_ids_its_ssh_host_and_its_addresses(name: str) -> None:
    device = replace(HERON, formerly=(HERON.id.__class__("bittern"),))
    facts = device_facts("heron", own_addresses=frozenset({"192.0.2.4"}))

    assert is_served_by(name, device, facts)


@pytest.mark.parametrize("name", ["heronry", "her", "192.0.2.40", "localhost", "127.0.0.1", "::1"])
def test_a_similar_name_or_a_loopback_is_not_the_device(name: str) -> None:
    assert not is_served_by(name, HERON, device_facts("heron", own_addresses=frozenset({"192.0.2.4"})))


def test_two_qualified_names_must_be_equal() -> None:
    facts = device_facts("heron", own_addresses=frozenset({"heron.example"}))
    device = replace(HERON, id=HERON.id.__class__("store-2"))

    assert not is_served_by("heron.elsewhere", device, facts)
