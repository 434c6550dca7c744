"""What every transport must keep: the same tests for this machine and for a box over SSH."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from coverage_audit.collectors.transport import STDERR_KEPT, Transport, TransportError
from coverage_audit.collectors.transports.local import LocalTransport
from coverage_audit.collectors.transports.ssh import SshTransport
from coverage_audit.evidence.facts import GapKind
from tests.builders.limits import some_limits
from tests.parts.sshd import Box, StartSshd, wait_for
from tests.parts.tampering import StartTampering


@pytest.fixture(params=["local", "ssh"])
def transport(request: pytest.FixtureRequest) -> Iterator[Transport]:
    if request.param == "local":
        with LocalTransport() as local:
            yield local
    else:
        box: Box = request.getfixturevalue("box")
        with SshTransport.connect(box.access, some_limits()) as ssh:
            yield ssh


def soon(seconds: float = 20) -> float:
    return time.monotonic() + seconds


def test_output_and_status_come_as_they_were(transport: Transport) -> None:
    with transport.open_command(b"printf 'a\\0\\377'; exit 3", deadline=soon()) as stream:
        assert b"".join(stream) == b"a\0\xff"
        assert stream.exit_status == 3
        assert stream.stderr == b""


def test_hostile_bytes_in_a_script_reach_the_shell_unchanged(transport: Transport) -> None:
    with transport.open_command(b"printf %s 'x\xff\n\t$(id)`id`\"'", deadline=soon()) as stream:
        assert b"".join(stream) == b'x\xff\n\t$(id)`id`"'


def test_fifty_megabytes_come_whole_in_pieces_of_a_mebibyte_at_most(transport: Transport) -> None:
    size = 0
    with transport.open_command(b"head -c 50000000 /dev/zero", deadline=soon(60)) as stream:
        for piece in stream:
            assert 0 < len(piece) <= 1 << 20
            size += len(piece)
        assert stream.exit_status == 0
    assert size == 50_000_000


def test_thirty_megabytes_of_complaints_stop_nothing_and_are_capped(transport: Transport) -> None:
    script = b"head -c 30000000 /dev/zero >&2; head -c 3000000 /dev/zero; printf end"
    with transport.open_command(script, deadline=soon(60)) as stream:
        reply = b"".join(stream)
        assert stream.exit_status == 0
    assert len(reply) == 3_000_003
    assert len(stream.stderr) == STDERR_KEPT
    assert stream.stderr_dropped == 30_000_000 - STDERR_KEPT


def test_a_command_that_a_signal_ended_has_no_status(transport: Transport) -> None:
    with transport.open_command(b"printf some; kill -9 $$", deadline=soon()) as stream:
        assert b"".join(stream) == b"some"
        assert stream.exit_status is None


def test_a_command_that_never_ends_is_given_up_at_its_deadline(transport: Transport) -> None:
    started = time.monotonic()
    with (
        pytest.raises(TransportError) as caught,
        transport.open_command(b"sleep 600", deadline=soon(1)) as stream,
    ):
        list(stream)
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 5


def test_a_command_that_drips_is_given_up_at_its_deadline_all_the_same(transport: Transport) -> None:
    started = time.monotonic()
    with (
        pytest.raises(TransportError) as caught,
        transport.open_command(b"while :; do printf x; sleep 0.1; done", deadline=soon(1)) as stream,
    ):
        list(stream)
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 5


def test_a_child_left_in_the_background_does_not_hold_the_answer_open(transport: Transport) -> None:
    started = time.monotonic()
    with transport.open_command(b"sleep 30 & printf done; exit 0", deadline=soon(25)) as stream:
        assert b"".join(stream) == b"done"
        assert stream.exit_status == 0
    assert time.monotonic() - started < 20


def test_commands_may_follow_one_another_many_times(transport: Transport) -> None:
    for number in range(25):
        with transport.open_command(b"printf %d" + f" {number}".encode(), deadline=soon()) as stream:
            assert b"".join(stream) == str(number).encode()


def test_a_command_reads_no_input(transport: Transport) -> None:
    with transport.open_command(b"cat; printf end", deadline=soon(5)) as stream:
        assert b"".join(stream) == b"end"


def test_what_follows_the_exit_status_is_still_taken(transport: Transport) -> None:
    """The status may overtake the output: what a child still writes shortly after belongs to the answer."""
    with transport.open_command(b"(sleep 1; printf late) & exit 0", deadline=soon()) as stream:
        assert b"".join(stream) == b"late"


def test_grandchildren_of_a_late_local_command_are_killed(tmp_path: Path) -> None:
    script = f"(sh -c 'echo $$ > {tmp_path}/pid; exec sleep 600'); :".encode()
    with (
        pytest.raises(TransportError),
        LocalTransport().open_command(script, deadline=soon(1)) as stream,
    ):
        list(stream)
    grandchild = int((tmp_path / "pid").read_text())
    assert wait_for(lambda: not _runs(grandchild))


def _runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_bytes().rpartition(b")")[2].split()[0] != b"Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def test_leaving_early_ends_a_local_command() -> None:
    with LocalTransport().open_command(b"echo $$; exec sleep 600", deadline=soon()) as stream:
        pid = int(next(iter(stream)))
    assert not _runs(pid)
    assert pid != os.getpid()


def test_channels_over_one_connection_are_bounded(box: Box) -> None:
    with (
        SshTransport.connect(box.access, some_limits(channels=2)) as transport,
        transport.open_command(b"echo a; sleep 5", deadline=soon()) as first,
        transport.open_command(b"echo b; sleep 5", deadline=soon()) as second,
    ):
        with pytest.raises(TransportError) as caught:
            transport.open_command(b"echo c", deadline=soon(1))
        assert caught.value.kind is GapKind.TIME_LIMIT
        assert (next(iter(first)), next(iter(second))) == (b"a\n", b"b\n"), "the others go on"


def test_a_command_too_long_for_a_box_is_refused_before_it_is_sent(box: Box) -> None:
    with SshTransport.connect(box.access, some_limits()) as transport:
        with pytest.raises(TransportError, match="longer than a box takes"):
            transport.open_command(b"echo " + b"x" * 130_000, deadline=soon())
        with transport.open_command(b"echo " + b"x" * 100_000, deadline=soon()) as stream:
            assert len(b"".join(stream)) == 100_001


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
        SshTransport.connect(access, some_limits(read_time=1)) as transport,
        transport.open_command(b"echo in", deadline=soon()) as stream,
    ):
        list(stream)
    assert caught.value.kind is GapKind.TIME_LIMIT
    assert time.monotonic() - started < 12
