"""The verbs that tell recovery points: what an installed gate allows of them, and that none runs a shell's text."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from coverage_audit.collectors.framing import fields
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import NONCE, run_gate
from tests.parts.gates import install_gate

SHELLS = [("dash",), ("bash", "--posix"), ("busybox", "sh")]
every_shell = pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])


@pytest.fixture
def tool(tmp_path: Path) -> Path:
    """A tool that prints its arguments, one a line."""
    tool = tmp_path / "list-points"
    tool.write_text('#!/bin/sh\nprintf "%s\\n" "$@"\n')
    tool.chmod(0o755)
    return tool


@pytest.fixture
def gate(tmp_path: Path, tool: Path) -> Path:
    """An installed gate that allows one root, one command and one dataset."""
    (tmp_path / "main").mkdir()
    conf = f"root {tmp_path}/main\ncommand {tool} --utc a\ncommand zfs pool/recordings\n"
    return install_gate(tmp_path / "lib", conf)


def installed(gate: Path, shell: tuple[str, ...], verb: str, *arguments: str | Path) -> tuple[bytes, ...]:
    request = Request(verb=verb, arguments=tuple(map(os.fsencode, arguments)), nonce=NONCE)
    environment = {"PATH": os.environ["PATH"], "SSH_ORIGINAL_COMMAND": request.line.decode()}
    done = subprocess.run([*shell, gate], capture_output=True, timeout=60, check=False, env=environment)
    return fields(done.stdout, done.returncode, NONCE)


@every_shell
def test_the_allowed_command_is_run_word_for_word(gate: Path, tool: Path, shell: tuple[str, ...]) -> None:
    told = installed(gate, shell, "run", tool, "--utc", "a")
    assert told == (b"output", b"--utc\na\n", b"complaint", b"", b"status", b"0")


@every_shell
def test_any_other_command_is_refused(gate: Path, tool: Path, shell: tuple[str, ...]) -> None:
    name = os.fspath(tool)
    others: list[list[str]] = [
        [name],
        [name, "--utc"],
        [name, "--utc", "a", "b"],
        [name, "--utc a"],
        [f"{name} --utc a"],
        [name, "--utc", "a\ncommand"],
        [name, "--utc", ""],
        [name, "", "--utc", "a"],
        ["zfs", "pool/recordings", "--"],
        ["sh", "-c", "true"],
        ["eval", "true"],
        ["-p", name, "--utc", "a"],
        ["A=b", name, "--utc", "a"],
        [f"{name}*"],
    ]
    for words in others:
        with pytest.raises(TransportError) as refused:
            installed(gate, shell, "run", *words)
        assert refused.value.kind is GapKind.REFUSED, words


@every_shell
def test_folders_outside_the_allowed_roots_tell_no_points(gate: Path, tmp_path: Path, shell: tuple[str, ...]) -> None:
    (tmp_path / "main/out").symlink_to(tmp_path)
    inside = tmp_path / "main"
    for verb, arguments in (
        ("files", (tmp_path,)),
        ("files", (inside / "out",)),
        ("files", (inside / "..",)),
        ("btrfs", (inside, "exact", tmp_path)),
        ("btrfs", (tmp_path, "within", inside)),
        ("btrfs", (inside, "elsewhere", inside)),
    ):
        with pytest.raises(TransportError) as refused:
            installed(gate, shell, verb, *arguments)
        assert refused.value.kind is GapKind.REFUSED, arguments


@every_shell
def test_datasets_that_are_not_allowed_or_are_none_are_refused(gate: Path, shell: tuple[str, ...]) -> None:
    for name in ("pool", "pool/recordings/below", "-r", "pool/recordings@a", "a;b", "pool/recordings\nx", "$(id)", ""):
        with pytest.raises(TransportError) as refused:
            installed(gate, shell, "zfs", name)
        assert refused.value.kind is GapKind.REFUSED, name
    assert installed(gate, shell, "zfs", "pool/recordings")[0] in {b"lacking", b"failed"}


@every_shell
def test_words_of_the_shells_own_are_no_commands(tmp_path: Path, shell: tuple[str, ...]) -> None:
    for words in (("eval", f"touch {tmp_path}/hole"), (".", f"{tmp_path}/text"), ("command", "eval", "true")):
        (tmp_path / "text").write_text(f"touch {tmp_path}/hole")
        request = Request(verb="run", arguments=tuple(map(os.fsencode, words)), nonce=NONCE)
        done = run_gate(request, by=shell)
        assert fields(done.stdout, done.returncode, NONCE)[-1] != b"0"
    assert not (tmp_path / "hole").exists()


@every_shell
def test_names_of_files_come_whole_in_every_shell(tmp_path: Path, shell: tuple[str, ...]) -> None:
    for name in ("a b", "new\nline", "-dash", "status"):
        (tmp_path / name).write_text("")
    (tmp_path / "folder").mkdir()
    request = Request(verb="files", arguments=(os.fsencode(tmp_path),), nonce=NONCE)
    done = run_gate(request, by=shell)

    told = fields(done.stdout, done.returncode, NONCE)

    assert set(told[1:5]) == {b"././a b", b"././new\nline", b"././-dash", b"././status"}
    assert told[5:] == (b"status", b"ok", b"others", b"././folder", b"status", b"ok")
