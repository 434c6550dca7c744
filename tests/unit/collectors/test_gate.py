"""The gate's own promises, under every shell that a box may have."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.collectors.framing import fields, pairs
from coverage_audit.collectors.gate_text import gate_file, gate_text
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.batches.printed import PRINTF
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import NONCE, run_gate

SHELLS = [("dash",), ("busybox", "sh"), ("bash", "--posix")]
every_shell = pytest.mark.parametrize("shell", SHELLS, ids=lambda shell: shell[0])


def answer(verb: str, *arguments: bytes, shell: tuple[str, ...] = ("sh",)) -> tuple[bytes, ...]:
    done = run_gate(Request(verb=verb, arguments=arguments, nonce=NONCE), by=shell)
    return fields(done.stdout, done.returncode, NONCE)


@every_shell
def test_every_byte_that_a_name_can_hold_comes_through(shell: tuple[str, ...], tmp_path: Path) -> None:
    for name in (bytes(range(1, 47)) + bytes(range(48, 256)), b"\n", b"a\n\n", b"-n", b"\\c\\0101", b"%s%n"):
        Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name), "inner").mkdir(parents=True)
        assert answer("names", os.fsencode(tmp_path) + b"/" + name, shell=shell)[1] == b"././inner"


@settings(max_examples=25, deadline=None)
@given(
    path=st.lists(
        st.binary(min_size=1, max_size=40).filter(lambda name: not {0, 47} & set(name)), min_size=1, max_size=9
    )
)
def test_any_path_comes_back_as_it_was_asked_for(path: list[bytes]) -> None:
    asked = tuple(name for name in path if name not in {b".", b".."})
    told = answer("look", b"/", *(b"no such folder here/" + name for name in asked))
    assert told[1:] == tuple(word for name in asked for word in (b"gone", b"./no such folder here/" + name, b""))


@every_shell
def test_the_longest_request_is_answered(shell: tuple[str, ...], tmp_path: Path) -> None:
    paths = [b"%060d" % number for number in range(780)]
    (tmp_path / paths[5].decode()).touch()
    told = answer("look", os.fsencode(tmp_path), *paths, shell=shell)
    assert told.count(b"gone") == 779
    assert told.count(b"seen") == 1


@every_shell
def test_the_tools_are_known_by_what_they_print(shell: tuple[str, ...]) -> None:
    told = dict(pairs(answer("tools", shell=shell)))
    # BusyBox's shell takes its own applets before those on the path.
    assert told["walk"] == (b"stat-c" if shell[0] == "busybox" else b"gnu")
    assert told["fraction"] == b"ns"
    assert told["digest"] == b"sha256 sha1 md5 sha512"
    assert told["readlink"] == b"yes"


@pytest.mark.parametrize("argument", ["2F", "2", "2g", "00", "2f00", "--", "..", "$HOME", "*"])
@every_shell
def test_an_argument_that_is_no_hex_is_refused(shell: tuple[str, ...], argument: str) -> None:
    words = [*shell, "-s", "--", "1", NONCE, "names", argument]
    done = subprocess.run(words, input=gate_text(), capture_output=True, timeout=60, check=False)
    with pytest.raises(TransportError) as caught:
        fields(done.stdout, done.returncode, NONCE)
    assert caught.value.kind is GapKind.REFUSED


def test_a_path_that_is_not_absolute_is_refused() -> None:
    with pytest.raises(TransportError, match="absolute"):
        answer("names", b"srv")


def test_the_gate_prints_the_columns_that_are_read() -> None:
    assert PRINTF in gate_text()


def test_the_gate_writes_nothing() -> None:
    """The only redirections that write go to the other outputs and to /dev/null."""
    text = "\n".join(line for line in gate_text().decode("ascii").splitlines() if not line.lstrip().startswith("#"))
    targets = set(re.findall(r"(?<![<>])>{1,2} ?(&?[\w/.$\"{}]+)", text))
    shifted = {target for target in targets if target.isdecimal()}
    assert targets - shifted == {"/dev/null", "&1", "&2", "&3", "&4"}
    assert shifted == {"8", "12", "32"}
    assert os.access(gate_file(), os.X_OK)


def test_the_gate_is_plain_posix_shell(tmp_path: Path) -> None:
    for shell in SHELLS:
        subprocess.run([*shell, "-n", gate_file()], check=True, timeout=60)
    checker = shutil.which("checkbashisms")
    if checker:
        subprocess.run([checker, "--posix", gate_file()], check=True, timeout=60, cwd=tmp_path)
