"""The protocol: sd_notify(3) and sd_watchdog_enabled(3) of systemd."""

from __future__ import annotations

import os
import secrets
import socket
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.daemon.manager import ServiceManager


@pytest.fixture
def heard(tmp_path: Path) -> Iterator[socket.socket]:
    """A real manager's end of the socket, in the file system."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(5)
        yield listening


def said_to(heard: socket.socket) -> str:
    return heard.recv(4096).decode()


def is_silent(heard: socket.socket) -> bool:
    heard.settimeout(0)
    try:
        return not heard.recv(4096)
    except BlockingIOError:
        return True
    finally:
        heard.settimeout(5)


def manager_at(heard: socket.socket, **more: str) -> ServiceManager:
    return ServiceManager.from_environment({"NOTIFY_SOCKET": str(heard.getsockname()), **more})


def test_a_whole_life_is_told(heard: socket.socket) -> None:
    manager = manager_at(heard, WATCHDOG_USEC="300000000")
    manager.ready("waiting for 04:10")
    assert said_to(heard) == "READY=1\nSTATUS=waiting for 04:10"
    manager.working("auditing 3 datasets")
    assert said_to(heard) == "STATUS=auditing 3 datasets"
    manager.petted()
    assert said_to(heard) == "WATCHDOG=1"
    manager.stopping()
    assert said_to(heard) == "STOPPING=1"


def test_a_status_is_told_when_it_changes_and_not_at_each_tick(heard: socket.socket) -> None:
    manager = manager_at(heard)
    manager.ready("waiting")
    for status in ("waiting", "auditing", "auditing", "waiting", "waiting"):
        manager.working(status)
    assert [said_to(heard) for _ in range(3)] == ["READY=1\nSTATUS=waiting", "STATUS=auditing", "STATUS=waiting"]
    assert is_silent(heard)


def test_a_status_cannot_smuggle_in_another_assignment(heard: socket.socket) -> None:
    manager_at(heard).working("auditing x\nSTOPPING=1\nMAINPID=1")
    assert said_to(heard) == r"STATUS=auditing x\nSTOPPING=1\nMAINPID=1"


def test_abstract_sockets_are_spoken_to() -> None:
    name = f"coverage-audit-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(f"\0{name}")
        listening.settimeout(5)
        ServiceManager.from_environment({"NOTIFY_SOCKET": f"@{name}"}).ready("started")
        assert said_to(listening) == "READY=1\nSTATUS=started"


@pytest.mark.parametrize(
    ("environment", "half"),
    [
        ({"WATCHDOG_USEC": "300000000"}, timedelta(seconds=150)),
        ({"WATCHDOG_USEC": "300000000", "WATCHDOG_PID": str(os.getpid())}, timedelta(seconds=150)),
        ({"WATCHDOG_USEC": "300000000", "WATCHDOG_PID": str(os.getpid() + 1)}, None),
        ({"WATCHDOG_USEC": "300000000", "WATCHDOG_PID": ""}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "-5"}, None),
        ({"WATCHDOG_USEC": str(2**64 - 1)}, None),
        ({}, None),
    ],
)
def test_the_watchdog_is_petted_at_half_its_time_and_only_by_the_process_it_watches(
    heard: socket.socket, environment: dict[str, str], half: timedelta | None
) -> None:
    manager = manager_at(heard, **environment)
    assert manager.pet_every == half
    manager.petted()
    assert is_silent(heard) is (half is None)


@pytest.mark.parametrize("name", [None, "", "/", "@", "relative", "vsock:2:1234", "/nowhere/notify", "/" + "x" * 200])
def test_without_a_manager_that_can_be_reached_nothing_happens(name: str | None) -> None:
    environment = {"WATCHDOG_USEC": "1000000"} | ({} if name is None else {"NOTIFY_SOCKET": name})
    manager = ServiceManager.from_environment(environment)
    manager.ready("started")
    manager.petted()
    manager.stopping()


def test_a_manager_that_reads_nothing_holds_the_tick_for_a_moment_only(heard: socket.socket) -> None:
    manager = manager_at(heard)
    begun = time.monotonic()
    # unix(7), net.unix.max_dgram_qlen: the queue takes few datagrams; then one waits until there is room.
    queue = int(Path("/proc/sys/net/unix/max_dgram_qlen").read_text(encoding="ascii"))
    if queue > 600:
        pytest.skip("the queue of this machine is long") if not os.environ.get("CI") else pytest.fail("long queue")
    for number in range(queue + 1):
        manager.working(f"x{number}")
    manager.working("one too many")
    assert 0.5 < time.monotonic() - begun < 10
