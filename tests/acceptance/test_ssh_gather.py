"""Boxes over SSH as they are: with banners, noise, bad lines and no shells. Each costs its own evidence only."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.collectors.gather import gather
from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, VolumeFacts
from coverage_audit.evidence.manifest import CompleteManifest, Kind
from coverage_audit.evidence.store import rows
from tests.builders.limits import some_limits
from tests.builders.questions import a_device, a_question
from tests.builders.trees import a_tree
from tests.parts.sshd import Box, StartSshd, make_key
from tests.parts.tampering import StartTampering

FILES = 12_000
"""Their listing is about 1.7 MB: a line can be cut in the middle of it."""
IN_THE_MIDDLE = 600_000


@pytest.fixture
def main(tmp_path: Path) -> Path:
    a_tree(tmp_path / "main" / "recordings", FILES)
    a_tree(tmp_path / "main" / "herbarium", 7)
    return tmp_path / "main"


def ask(
    boxes: Mapping[str, SshAccess], main: Path, limits: Limits, trees: Sequence[str] = ("recordings",)
) -> list[Answer]:
    staging = main.parent / "staging"
    staging.mkdir(exist_ok=True)
    questions = [
        a_question(a_device(name, {"main": main}, access), [f"{name}:main/{tree}" for tree in trees])
        for name, access in boxes.items()
    ]
    answers = gather(
        questions,
        limits=limits,
        staging=staging,
        seed=bytes(16),
        clock=lambda: datetime.now(UTC),  # noqa: TID251 - the auditor's own clock, as the command line hands it over
        progress=lambda _subject, _entries: None,
    )
    left = {file.name for file in staging.iterdir()}
    proven = {
        tree.outcome.file.name for answer in answers for tree in answer.trees if not isinstance(tree.outcome, Gap)
    }
    assert left == proven, "of what was not proven nothing is left"
    return list(answers)


def assert_whole(answer: Answer) -> None:
    assert isinstance(answer.facts, DeviceFacts), answer.facts
    assert isinstance(answer.volumes[0], VolumeFacts), answer.volumes
    outcome = answer.trees[0].outcome
    assert isinstance(outcome, CompleteManifest), outcome
    assert outcome.census.files == FILES


def kinds(answer: Answer) -> list[GapKind | None]:
    outcomes = [answer.facts, *answer.volumes, *(tree.outcome for tree in answer.trees)]
    return [outcome.kind if isinstance(outcome, Gap) else None for outcome in outcomes]


def test_a_box_shows_its_facts_its_key_and_its_whole_tree(box: Box, main: Path) -> None:
    (answer,) = ask({"heron": box.access}, main, some_limits())
    assert_whole(answer)
    assert isinstance(answer.facts, DeviceFacts)
    assert answer.facts.over == "ssh"
    assert answer.facts.host_key == box.fingerprint()
    assert answer.facts.clock_offset is not None
    assert abs(answer.facts.clock_offset.total_seconds()) < 1, "one clock on both sides"


def test_a_connection_cut_in_the_middle_of_the_listing_costs_that_device_only(
    box: Box, start_sshd: StartSshd, main: Path, tampered_line: StartTampering
) -> None:
    cut_off = box.behind(tampered_line(box.port, cut_after=IN_THE_MIDDLE))
    cut, well = ask({"heron": cut_off, "avocet": start_sshd().access}, main, some_limits(), ["recordings", "herbarium"])
    assert kinds(cut) == [None, None, GapKind.CUT, GapKind.CUT], "what was seen before the cut is kept"
    assert_whole(well)


@pytest.mark.parametrize("how", ["hang_after", "drip_after"])
def test_a_box_that_falls_silent_in_the_middle_is_given_up_in_time(
    box: Box, start_sshd: StartSshd, main: Path, tampered_line: StartTampering, how: str
) -> None:
    line = tampered_line(box.port, **{how: IN_THE_MIDDLE})
    started = time.monotonic()
    hung, well = ask(
        {"heron": box.behind(line), "avocet": start_sshd().access}, main, some_limits(device_time=50, read_time=5)
    )
    assert time.monotonic() - started < 50
    assert kinds(hung) == [None, None, GapKind.TIME_LIMIT]
    assert_whole(well)


def test_a_box_that_never_stops_dripping_is_ended_by_its_time_limit(start_sshd: StartSshd, main: Path) -> None:
    box = start_sshd("ForceCommand while :; do printf x; sleep 0.2; done")
    started = time.monotonic()
    (answer,) = ask({"heron": box.access}, main, some_limits(device_time=4, read_time=60))
    assert time.monotonic() - started < 12
    assert set(kinds(answer)) == {GapKind.TIME_LIMIT}


def test_a_device_may_have_a_time_limit_of_its_own(start_sshd: StartSshd, main: Path) -> None:
    box = start_sshd("ForceCommand sleep 600")
    limits = some_limits(read_time=60)
    hurried = replace(box.access, time_limit=limits.connect_time / 2)
    started = time.monotonic()
    (answer,) = ask({"heron": hurried}, main, limits)
    assert time.monotonic() - started < 12
    assert set(kinds(answer)) == {GapKind.TIME_LIMIT}


def test_a_box_that_prints_without_end_fills_no_memory(start_sshd: StartSshd, main: Path) -> None:
    box = start_sshd("ForceCommand cat /dev/zero")
    (answer,) = ask({"heron": box.access}, main, some_limits())
    assert set(kinds(answer)) <= {GapKind.MALFORMED, GapKind.NO_SHELL}


NOISY = 'ForceCommand echo "welcome to heron"; echo "mind the step" >&2; eval "$SSH_ORIGINAL_COMMAND"'


def test_a_banner_and_a_login_that_prints_first_are_no_hindrance(start_sshd: StartSshd, main: Path) -> None:
    (main.parent / "banner").write_text("Saltreach Field Station\n")
    box = start_sshd(NOISY, f"Banner {main.parent}/banner")
    (answer,) = ask({"heron": box.access}, main, some_limits())
    assert_whole(answer)


@pytest.mark.parametrize(
    "line",
    [
        "ForceCommand internal-sftp",
        "ForceCommand /nonexistent",
        "ForceCommand /usr/sbin/nologin",
        "ForceCommand true",
        "ForceCommand echo This service allows sftp connections only.; exit 1",
    ],
)
def test_an_account_that_runs_nothing_is_said_to_have_no_shell(start_sshd: StartSshd, main: Path, line: str) -> None:
    no_shell, well = ask({"heron": start_sshd(line).access, "avocet": start_sshd().access}, main, some_limits())
    assert set(kinds(no_shell)) == {GapKind.NO_SHELL}
    assert_whole(well)


@pytest.mark.root
def test_an_account_whose_shell_is_not_there_cannot_log_in(start_sshd: StartSshd, main: Path) -> None:
    gone, well = ask(
        {"heron": start_sshd(login_shell="/nonexistent/shell").access, "avocet": start_sshd().access},
        main,
        some_limits(),
    )
    assert set(kinds(gone)) == {GapKind.LOGIN}
    assert_whole(well)


@pytest.mark.root
def test_an_account_that_may_not_log_in_is_said_to_have_no_shell(start_sshd: StartSshd, main: Path) -> None:
    (answer,) = ask({"heron": start_sshd(login_shell="/usr/sbin/nologin").access}, main, some_limits())
    assert set(kinds(answer)) == {GapKind.NO_SHELL}


def test_a_changed_host_key_costs_that_device_only_and_is_named(start_sshd: StartSshd, box: Box, main: Path) -> None:
    make_key(box.folder / "other")
    other = (box.folder / "other.pub").read_text()
    box.known_hosts.write_text(f"[127.0.0.1]:{box.port} {other}")
    changed, well = ask({"heron": box.access, "avocet": start_sshd().access}, main, some_limits())
    assert set(kinds(changed)) == {GapKind.HOST_KEY}
    assert isinstance(changed.facts, Gap)
    assert "CHANGED" in changed.facts.detail
    assert_whole(well)


def test_a_box_that_allows_one_session_is_asked_one_thing_after_the_other(start_sshd: StartSshd, main: Path) -> None:
    box = start_sshd("MaxSessions 1")
    (answer,) = ask({"heron": box.access}, main, some_limits(), ["recordings", "herbarium"])
    assert kinds(answer) == [None, None, None, None]


def test_complaints_without_end_beside_the_listing_do_not_stop_it(start_sshd: StartSshd, main: Path) -> None:
    noise = 'ForceCommand head -c 30000000 /dev/zero >&2; eval "$SSH_ORIGINAL_COMMAND"'
    (answer,) = ask({"heron": start_sshd(noise).access}, main, some_limits())
    assert kinds(answer)[:2] == [None, None]
    assert kinds(answer)[2] is not None, "what find complained of was not kept, so the listing is not proven whole"


def test_hostile_names_come_over_the_line_unharmed(box: Box, main: Path) -> None:
    names = [
        b"line\nbreak",
        b"tab\there",
        b'it\'s "quoted"',
        b"-rf",
        b"$(reboot)",
        b"<script>",
        b"\xff\xfe",
        "\u202efdp".encode(),
    ]
    names += [b"\x1b[31mred", b"back\\slash", b" ", b"E 0\n", b"%s%n"]
    folder = bytes(main) + b"/odd $(touch owned) '\xff"
    Path(folder.decode("utf-8", "surrogateescape")).mkdir()
    for name in names:
        with open(folder + b"/" + name, "wb"):  # noqa: PTH123 - names are bytes here
            pass
    tree = folder[len(bytes(main)) + 1 :].decode("utf-8", "surrogateescape")
    (answer,) = ask({"heron": box.access}, main, some_limits(), [tree])
    outcome = answer.trees[0].outcome
    assert isinstance(outcome, CompleteManifest), outcome
    assert {row.path for row in rows(outcome.file)} == set(names)
    assert {row.kind for row in rows(outcome.file)} == {Kind.FILE}


def test_a_box_behind_two_hops_is_reached_through_them(start_sshd: StartSshd, main: Path) -> None:
    porch, gate, heron = start_sshd(), start_sshd(), start_sshd()
    (answer,) = ask({"heron": behind(heron, porch, gate)}, main, some_limits())
    assert_whole(answer)
    assert isinstance(answer.facts, DeviceFacts)
    assert answer.facts.host_key == heron.fingerprint(), "the box's own key, not a hop's"


def behind(box: Box, *hops: Box) -> SshAccess:
    """The way to a box over others, as its owner would write it."""
    text = "".join(
        f"Host hop-{number}\n HostName 127.0.0.1\n Port {hop.port}\n IdentityFile {hop.access.identity_file}\n"
        for number, hop in enumerate(hops)
    )
    text += "Host 127.0.0.1\n ProxyJump " + ",".join(f"hop-{number}" for number in range(len(hops))) + "\n"
    (box.folder / "ssh_config").write_text(text)
    with box.known_hosts.open("a") as file:
        file.writelines(hop.known_hosts.read_text() for hop in hops)
    return box.access


def test_every_hop_must_prove_its_key(start_sshd: StartSshd, main: Path) -> None:
    porch, gate, heron = start_sshd(), start_sshd(), start_sshd()
    access = behind(heron, porch, gate)
    lines = heron.known_hosts.read_text().splitlines(keepends=True)
    make_key(heron.folder / "other")
    forged = " ".join((heron.folder / "other.pub").read_text().split()[:2])
    for number, name in ((1, porch.port), (2, gate.port)):
        changed = [*lines]
        changed[number] = f"[127.0.0.1]:{name} {forged}\n"
        heron.known_hosts.write_text("".join(changed))
        (answer,) = ask({"heron": access}, main, some_limits())
        assert set(kinds(answer)) == {GapKind.HOST_KEY}
        assert isinstance(answer.facts, Gap)
        assert str(name) in answer.facts.detail


def test_a_hop_that_may_not_forward_says_so(start_sshd: StartSshd, main: Path) -> None:
    gate, heron = start_sshd("AllowTcpForwarding no"), start_sshd()
    (answer,) = ask({"heron": behind(heron, gate)}, main, some_limits())
    assert set(kinds(answer)) == {GapKind.LOGIN}


def test_a_box_that_is_off_behind_a_hop_is_unreachable(start_sshd: StartSshd, main: Path) -> None:
    gate, heron = start_sshd(), start_sshd()
    access = behind(heron, gate)
    subprocess.run(["kill", str(heron.pid)], check=True)
    (answer,) = ask({"heron": access}, main, some_limits())
    assert set(kinds(answer)) == {GapKind.UNREACHABLE}
