"""What a box shows of itself."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.readers import device_facts
from coverage_audit.estate.model import DeviceId
from coverage_audit.evidence.facts import DeviceFacts
from tests.builders.shell_reply import NONCE, answered, framed_reply

SENT = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
RECEIVED = SENT + timedelta(milliseconds=200)


def parsed(*said: tuple[str, bytes]) -> DeviceFacts:
    return device_facts.parse(
        framed_reply(*said), 0, nonce=NONCE, device=DeviceId("heron"), over="ssh", sent=SENT, received=RECEIVED
    )


@pytest.mark.parametrize("shell", [("dash",), ("busybox", "sh"), ("bash", "--posix")])
def test_this_machine_shows_what_its_own_tools_say(shell: tuple[str, ...]) -> None:
    sent = datetime.now(UTC)  # noqa: TID251 - the test asks a real clock
    reply, status = answered(device_facts.request(NONCE), by=shell, before=b"motd\n")
    received = datetime.now(UTC)  # noqa: TID251 - the test asks a real clock
    facts = device_facts.parse(
        reply, status, nonce=NONCE, device=DeviceId("here"), over="local", sent=sent, received=received
    )
    assert facts.machine_id == Path("/etc/machine-id").read_text().strip()
    assert facts.boot_id == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    told = subprocess.run(["hostname", "-I"], capture_output=True, text=True, check=True).stdout.split()
    assert set(told) <= facts.own_addresses
    assert "127.0.0.1" not in facts.own_addresses
    assert facts.clock_offset is not None
    assert facts.clock_uncertainty is not None
    assert abs(facts.clock_offset) <= facts.clock_uncertainty <= timedelta(seconds=60)


def test_a_box_that_shows_nothing_is_not_made_up() -> None:
    facts = parsed()
    assert facts == DeviceFacts(device=DeviceId("heron"), at=RECEIVED, over="ssh")


@pytest.mark.parametrize("text", [b"uninitialized", b"", b"0" * 32, b"3d1219c7", b"G" * 32])
def test_what_is_no_machine_id_is_not_taken_for_one(text: bytes) -> None:
    # machine-id(5): 32 lower-case hexadecimal characters, not all zero; "uninitialized" in images not yet booted
    assert parsed(("machine_id", text)).machine_id is None


def test_the_clock_offset_is_that_of_rfc_5905() -> None:
    # RFC 5905 section 8, figures by hand: T1 = 0, T4 = 0.2; T2 = 100.1, T3 = 100.15: theta 100.025, delta 0.15
    start = int(SENT.timestamp())
    facts = parsed(
        ("clock_first", f"{start + 100}.100000000".encode()), ("clock_last", f"{start + 100}.150000000".encode())
    )
    assert facts.clock_offset == timedelta(seconds=100.025)
    assert facts.clock_uncertainty == timedelta(seconds=0.075)


@given(
    offset=st.integers(-(10**12), 10**12),
    there=st.integers(0, 10**6),
    work=st.integers(0, 10**6),
    back=st.integers(0, 10**6),
    whole=st.booleans(),
)
def test_the_true_offset_lies_within_the_uncertainty(
    *, offset: int, there: int, work: int, back: int, whole: bool
) -> None:
    at = int(SENT.timestamp()) * 10**6
    first, last = at + there + offset, at + there + work + offset
    received = SENT + timedelta(microseconds=there + work + back)
    known = device_facts.clock_offset(spelled(first, whole=whole), spelled(last, whole=whole), SENT, received)
    assert known is not None
    assert abs(known[0] - timedelta(microseconds=offset)) <= known[1] + timedelta(microseconds=1)


def spelled(microseconds: int, *, whole: bool) -> str:
    seconds, rest = divmod(microseconds, 10**6)
    return str(seconds) if whole else f"{seconds}.{rest * 1000:09d}"


@pytest.mark.parametrize(("first", "last"), [(b"200.000000000", b"100.000000000"), (b"x", b"y"), (b"", b"1")])
def test_a_clock_that_jumps_or_says_nothing_gives_no_offset(first: bytes, last: bytes) -> None:
    assert parsed(("clock_first", first), ("clock_last", last)).clock_offset is None


@pytest.mark.parametrize("text", ["1795588705.%N", "1795588705.N", "1795588705"])
def test_a_date_without_nanoseconds_is_read_to_the_second(text: str) -> None:
    # BusyBox's date prints %N or nothing for it
    known = device_facts.clock_offset(text, text, SENT, RECEIVED)
    assert known is not None
    assert known[1] >= timedelta(seconds=0.5)


@pytest.mark.parametrize(
    ("said", "guest"),
    [
        ((), None),
        ((("detected", b"none"),), False),
        ((("detected", b"kvm"),), True),
        ((("detected", b"none"), ("cgroup", b"0::/machine.slice/machine-x.scope")), True),
        ((("product", b"Virtual Machine"),), True),
        ((("marker", b"/run/.containerenv"),), True),
        ((("cpu", b"hypervisor"),), True),
        ((("xen", b"xen"),), True),
        ((("xen", b"xen"), ("xen_powers", b"control_d")), None),
        ((("cgroup", b"0::/init.scope"),), None),
    ],
)
def test_a_guest_is_known_by_any_sign_and_never_by_none(said: tuple[tuple[str, bytes], ...], guest: object) -> None:
    assert parsed(*said).is_guest is guest


@pytest.mark.parametrize(
    ("said", "zone"),
    [
        ((("zone_link", b"/usr/share/zoneinfo/Europe/Dublin"),), "Europe/Dublin"),
        ((("zone_link", b"../usr/share/zoneinfo/posix/Asia/Tokyo"),), "Asia/Tokyo"),
        ((("zone_link", b"/usr/share/zoneinfo/Europe/Dublin"), ("zone_name", b"Asia/Tokyo")), "Europe/Dublin"),
        ((("zone_name", b"Asia/Tokyo\n"),), "Asia/Tokyo"),
        ((("zone_link", b"/etc/zone"), ("zone_file", b"/usr/share/zoneinfo/Asia/Tokyo")), "Asia/Tokyo"),
        ((("zone_name", b"No/Where"),), None),
        ((("zone_name", b"../../etc/passwd"),), None),
    ],
)
def test_the_zone_is_that_of_the_link_and_must_be_known(said: tuple[tuple[str, bytes], ...], zone: str | None) -> None:
    assert parsed(*said).time_zone == zone


def test_addresses_leave_out_what_every_box_has() -> None:
    # the shape of /proc/net/fib_trie and /proc/net/if_inet6, recorded
    trie = b"     |-- 127.0.0.1\n        /32 host LOCAL\n     |-- 192.0.2.7\n        /32 host LOCAL\n"
    six = (
        b"00000000000000000000000000000001 01 80 10 80       lo\n"
        b"20010db8000000000000000000000007 02 40 00 80     eth0\n"
        b"fe80000000000000aa00aafffe000007 02 40 20 80     eth0\n"
    )
    facts = parsed(("fib_trie", trie), ("if_inet6", six), ("node", b"heron"), ("hostname", b"localhost\n"))
    assert facts.own_addresses == {"192.0.2.7", "2001:db8::7", "heron"}
