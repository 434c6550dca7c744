"""What every transport must keep: the same tests for this machine and for a box over SSH."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from coverage_audit.collectors.transport import STDERR_KEPT, Stream, TransportError
from coverage_audit.collectors.transports.local import LocalTransport
from coverage_audit.collectors.transports.ssh import SshTransport
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.facts import GapKind
from tests.builders.gates import ANYTHING
from tests.builders.limits import some_limits
from tests.parts.processes import runs
from tests.parts.sshd import Box, StartSshd
from tests.parts.tampering import StartTampering
from tests.parts.waiting import wait_for

Open = Callable[..., Stream]


@pytest.fixture(params=["local", "ssh"])
def opened(request: pytest.FixtureRequest) -> Iterator[Open]:
    """Run any sh text in the gate's place, by either transport."""
    with contextlib.ExitStack() as held:
        connected: SshTransport | None = None
        if request.param == "ssh":
            box: Box = request.getfixturevalue("box")
            connected = held.enter_context(SshTransport.connect(box.access, some_limits()))

        def run(text: bytes, *, deadline: float) -> Stream:
            if connected is None:
                return LocalTransport(text).open_request(ANYTHING, deadline=deadline)
            connected.gate = text
            return connected.open_request(ANYTHING, deadline=deadline)

        yield run


def soon(seconds: float = 20) -> float:
    return time.monotonic() + seconds


def test_output_and_status_come_as_they_were(opened: Open) -> None:
    with opened(b"printf 'a\\0\\377'; exit 3", deadline=soon()) as stream:
        assert b"".join(stream) == b"a\0\xff"
        assert stream.exit_status == 3
        assert stream.stderr == b""


def test_hostile_bytes_in_the_text_reach_the_shell_unchanged(opened: Open) -> None:
    with opened(b"printf %s 'x\xff\n\t$(id)`id`\"'", deadline=soon()) as stream:
        assert b"".join(stream) == b'x\xff\n\t$(id)`id`"'


def test_a_request_comes_as_words(opened: Open) -> None:
    with opened(b'printf "%s|" "$#" "$@"', deadline=soon()) as stream:
        assert b"".join(stream) == f"3|1|{ANYTHING.nonce}|about|".encode()


def test_fifty_megabytes_come_whole_in_pieces_of_a_mebibyte_at_most(opened: Open) -> None:
    size = 0
    with opened(b"head -c 50000000 /dev/zero", deadline=soon(60)) as stream:
        for piece in stream:
            assert 0 < len(piece) <= 1 << 20
            size += len(piece)
        assert stream.exit_status == 0
    assert size == 50_000_000


def test_thirty_megabytes_of_complaints_stop_nothing_and_are_capped(opened: Open) -> None:
    script = b"head -c 30000000 /dev/zero >&2; head -c 3000000 /dev/zero; printf end"
    with opened(script, deadline=soon(60)) as stream:
        reply = b"".join(stream)
        assert stream.exit_status == 0
    assert len(reply) == 3_000_003
    assert len(stream.stderr) == STDERR_KEPT
    assert stream.stderr_dropped == 30_000_000 - STDERR_KEPT


def test_a_command_that_a_signal_ended_has_no_status(opened: Open) -> None:
    with opened(b"printf some; kill -9 $$", deadline=soon()) as stream:
        assert b"".join(stream) == b"some"
        assert stream.exit_status is None


def test_a_command_that_never_ends_is_given_up_at_its_deadline(opened: Open) -> None:
    started = time.monotonic()
    with (
        pytest.raises(TransportError) as caught,
        opened(b"sleep 600", deadline=soon(1)) as stream,
    ):
        list(stream)
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 5


def test_a_command_that_drips_is_given_up_at_its_deadline_all_the_same(opened: Open) -> None:
    started = time.monotonic()
    with (
        pytest.raises(TransportError) as caught,
        opened(b"while :; do printf x; sleep 0.1; done", deadline=soon(1)) as stream,
    ):
        list(stream)
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 5


def test_a_child_left_in_the_background_does_not_hold_the_answer_open(opened: Open) -> None:
    started = time.monotonic()
    with opened(b"sleep 30 & printf done; exit 0", deadline=soon(25)) as stream:
        assert b"".join(stream) == b"done"
        assert stream.exit_status == 0
    assert time.monotonic() - started < 20


def test_commands_may_follow_one_another_many_times(opened: Open) -> None:
    for number in range(25):
        with opened(b"printf %d" + f" {number}".encode(), deadline=soon()) as stream:
            assert b"".join(stream) == str(number).encode()


def test_the_gate_leaves_its_tools_no_input(opened: Open) -> None:
    """What reads standard input would read the gate itself."""
    with opened(b"exec </dev/null; cat; printf end; exit", deadline=soon(5)) as stream:
        assert b"".join(stream) == b"end"


def test_what_follows_the_exit_status_is_still_taken(opened: Open) -> None:
    """The status may overtake the output: what a child still writes shortly after belongs to the answer."""
    with opened(b"(sleep 1; printf late) & exit 0", deadline=soon()) as stream:
        assert b"".join(stream) == b"late"


def test_grandchildren_of_a_late_local_command_are_killed(tmp_path: Path) -> None:
    script = f"(sh -c 'echo $$ > {tmp_path}/pid; exec sleep 600'); :".encode()
    with (
        pytest.raises(TransportError),
        LocalTransport(script).open_request(ANYTHING, deadline=soon(3)) as stream,
    ):
        list(stream)
    grandchild = int((tmp_path / "pid").read_text())
    assert wait_for(lambda: not runs(grandchild))


def test_leaving_early_ends_a_local_command() -> None:
    with LocalTransport(b"echo $$; exec sleep 600").open_request(ANYTHING, deadline=soon()) as stream:
        pid = int(next(iter(stream)))
    assert not runs(pid)
    assert pid != os.getpid()


def test_channels_over_one_connection_are_bounded(box: Box) -> None:
    with (
        SshTransport.connect(box.access, some_limits(channels=2), b"echo a; sleep 5") as transport,
        transport.open_request(ANYTHING, deadline=soon()) as first,
        transport.open_request(ANYTHING, deadline=soon()) as second,
    ):
        with pytest.raises(TransportError) as caught:
            transport.open_request(ANYTHING, deadline=soon(1))
        assert caught.value.kind is GapKind.TIME_LIMIT
        assert (next(iter(first)), next(iter(second))) == (b"a\n", b"a\n"), "the others go on"


def test_a_request_too_long_for_a_box_is_refused_before_it_is_sent(box: Box) -> None:
    with SshTransport.connect(box.access, some_limits(), b'printf %s "${#5}"') as transport:
        with pytest.raises(CollectionError, match="longer than a box takes"):
            transport.open_request(replace(ANYTHING, arguments=(b"x" * 50_000,)), deadline=soon())
        with transport.open_request(replace(ANYTHING, arguments=(b"x", b"y" * 49_000)), deadline=soon()) as stream:
            assert b"".join(stream) == b"98000"


def test_a_box_that_reads_nothing_of_what_is_sent_answers_all_the_same(start_sshd: StartSshd) -> None:
    """A forced command has no use for the gate's text; neither its early end nor a full pipe may hurt."""
    for command, text in (
        ("printf done", b"x" * 10),
        ("printf done", b"x" * 1_000_000),
        ("sleep 1; printf done", b"x" * 1_000_000),
    ):
        box = start_sshd(f"ForceCommand {command}")
        with (
            SshTransport.connect(box.access, some_limits(), text) as transport,
            transport.open_request(ANYTHING, deadline=soon()) as stream,
        ):
            assert b"".join(stream) == b"done"
            assert stream.exit_status == 0


def test_a_box_that_takes_the_text_in_for_ever_is_given_up_in_time_and_each_request_says_so(
    start_sshd: StartSshd,
) -> None:
    box = start_sshd("ForceCommand sleep 60")
    started = time.monotonic()
    with SshTransport.connect(box.access, some_limits(read_time=1), b"x" * 30_000_000) as transport:
        for _ in range(2):  # the first closes the connection: for the next it is no other cause
            with pytest.raises(TransportError) as caught, transport.open_request(ANYTHING, deadline=soon()) as stream:
                list(stream)
            assert caught.value.kind is GapKind.TIME_LIMIT
            assert "did not start a command in time" in str(caught.value)
    assert time.monotonic() - started < 12


@pytest.mark.parametrize("hang_after", [1_900, 2_100, 2_200])
def test_a_box_that_starts_no_command_is_given_up_in_time(
    start_sshd: StartSshd, tampered_line: StartTampering, hang_after: int
) -> None:
    """The library waits for the reply to a request without any limit; the box falls silent right before it.

    Measured here: a channel is open after some 2,050 bytes of the box's, a command is started after 2,150.
    """
    box = start_sshd()
    started = time.monotonic()
    access = box.behind(tampered_line(box.port, hang_after=hang_after))
    with (
        pytest.raises(TransportError) as caught,
        SshTransport.connect(access, some_limits(read_time=1), b"echo in") as transport,
        transport.open_request(ANYTHING, deadline=soon()) as stream,
    ):
        list(stream)
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 12
