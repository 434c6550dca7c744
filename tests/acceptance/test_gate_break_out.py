"""Breaking out of an installed gate: whatever is tried over a real server, nothing is read, written or run.

Every attempt is made with the auditor's own key, under each shell that a box may have as its `sh`.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import paramiko
import pytest

from tests.parts.gates import force_gate, install_gate
from tests.parts.sshd import Box, StartSshd, free_port

NONCE = "0123456789abcdef0123456789abcdef"
LINE = f"exec sh -s -- 1 {NONCE}"
CANARY = b"the only take of the corncrake"
SHELLS = {"dash": ("dash",), "bash": ("bash", "--posix"), "busybox": ("busybox", "sh")}


@dataclass(frozen=True, kw_only=True)
class Told:
    """What came back."""

    status: int
    out: bytes
    err: bytes


@dataclass(frozen=True, kw_only=True)
class Guarded:
    """A box behind a gate that allows `main` alone. `canary` must be neither read nor changed, `hole` never made."""

    box: Box
    gate: Path
    shell: tuple[str, ...]
    srv: Path

    @property
    def main(self) -> Path:
        """The allowed root."""
        return self.srv / "main"

    @property
    def canary(self) -> Path:
        """What lies beside it."""
        return self.srv / "main2" / "corncrake.wav"

    @property
    def hole(self) -> Path:
        """What an attempt makes that succeeds."""
        return self.srv / "hole"

    def ask(self, command: bytes, stdin: bytes = b"") -> Told:
        """Ask for any command over SSH."""
        with self.connected() as transport:
            return over(transport, command, stdin)

    @contextlib.contextmanager
    def connected(self) -> Iterator[paramiko.Transport]:
        """Log in with the auditor's key."""
        transport = paramiko.Transport(("127.0.0.1", self.box.port))
        try:
            transport.start_client(timeout=20)
            key = paramiko.PKey.from_path(Path(str(self.box.access.identity_file)))
            transport.auth_publickey(str(self.box.access.user), key)
            yield transport
        finally:
            transport.close()

    def assert_whole(self, *told: bytes) -> None:
        """Nothing was made, changed or given away."""
        assert not self.hole.exists()
        assert self.canary.read_bytes() == CANARY
        assert sorted(entry.name for entry in self.main.iterdir()) == ["a", "corncrake", "outside", "take.wav"]
        for text in told:
            assert CANARY not in text
            assert b"root:x:0" not in text


def over(transport: paramiko.Transport, command: bytes, stdin: bytes = b"") -> Told:
    channel = transport.open_session(timeout=20)
    channel.settimeout(20)
    channel.exec_command(command)
    with contextlib.suppress(OSError):
        channel.sendall(stdin)
        channel.shutdown_write()
    out, err = channel.makefile("rb").read(), channel.makefile_stderr("rb").read()
    return Told(status=channel.recv_exit_status(), out=out, err=err)


@pytest.fixture(params=list(SHELLS.values()), ids=list(SHELLS))
def guarded(request: pytest.FixtureRequest, start_sshd: StartSshd, tmp_path: Path) -> Guarded:
    srv = tmp_path / "srv"
    (srv / "main" / "a").mkdir(parents=True)
    (srv / "main2").mkdir()
    (srv / "main" / "take.wav").write_bytes(b"x")
    (srv / "main2" / "corncrake.wav").write_bytes(CANARY)
    (srv / "main" / "outside").symlink_to("../main2")
    (srv / "main" / "corncrake").symlink_to("../main2/corncrake.wav")
    conf = f"root {srv}/main\ncontent {srv}/main\nsend {srv}/main\ncommand /bin/echo fixed\n"
    gate = install_gate(tmp_path / "lib", conf)
    box = start_sshd("AcceptEnv LANG LC_*", "Subsystem sftp internal-sftp")
    force_gate(box, gate, request.param)
    return Guarded(box=box, gate=gate, shell=request.param, srv=srv)


def words(*arguments: str | bytes | Path) -> str:
    return " ".join(os.fsencode(argument).hex() or "-" for argument in arguments)


def refused(told: Told) -> bytes:
    """The reason, of an answer that is nothing but a refusal."""
    assert told.status == 77, told
    begin, reason, end, rest = told.out.split(b"\0")
    assert begin.startswith(b"B ")
    assert begin.endswith(b" installed")
    assert reason.startswith(b"R ")
    assert end.endswith(b" 77")
    assert rest == b""
    return reason


# What is sent as the command, with {canary}, {hole}, {main} (paths) and {root} (the allowed root as a word).
TEXTS = {
    "a command": "cat {canary}",
    "a shell": "/bin/sh",
    "a command instead": "exec sh -c 'cat {canary}'",
    "another command of the same shape": f"exec cat -s -- 1 {NONCE} about",
    "another shell": f"exec bash -s -- 1 {NONCE} about",
    "no exec": f"sh -s -- 1 {NONCE} about",
    "an option before": f"exec sh -x -s -- 1 {NONCE} about",
    "an option within": f"exec sh -s -x -- 1 {NONCE} about",
    "an option after": f"exec sh -s -- -c 1 {NONCE} about",
    "a semicolon": LINE + " names {root}; cat {canary}",
    "and": LINE + " names {root} && touch {hole}",
    "or": LINE + " nothing || touch {hole}",
    "a background": LINE + " about & touch {hole}",
    "a pipe": LINE + " names {root} | tee {hole}",
    "a redirection out": LINE + " names {root} > {hole}",
    "a redirection in": LINE + " names {root} < {canary}",
    "backticks": LINE + " names `touch {hole}`",
    "a substitution": LINE + " names $(touch {hole})",
    "an arithmetic substitution": LINE + " names $((a[$(touch {hole})]))",
    "a variable": LINE + " names $HOME",
    "a newline": LINE + " names {root}\ntouch {hole}",
    "a carriage return": LINE + " names {root}\rtouch {hole}",
    "a tab": LINE + "\tnames\t{root}",
    "a glob": LINE + " names *",
    "a question mark": LINE + " names ?",
    "a tilde": LINE + " names ~",
    "braces": LINE + " names {{touch,{hole}}}",
    "single quotes": LINE + " names '{root}'",
    "double quotes": LINE + ' names "{root}"',
    "a backslash": LINE + " names \\{root}",
    "a comment": LINE + " names {root} #",
    "an assignment": "PATH={main} " + LINE + " about",
    "a path that is no hex": LINE + " names {canary}",
    "upper-case hex": LINE + " names 2F",
    "letters that are no hex": LINE + " names 2g",
    "an odd number of digits": LINE + " names 2f7",
    "a NUL in hex": LINE + " names {root}00",
    "a NUL in the middle in hex": LINE + " names {root}002f2e2e",
    "digits of another script": LINE + " names \uff12\uff46",
    "bytes that are no UTF-8": LINE + " names \udcff\udcfe",
    "an option as the argument": LINE + " names --help",
    "another version": f"exec sh -s -- 2 {NONCE} about",
    "a version that only begins so": f"exec sh -s -- 1a {NONCE} about",
    "a version spelled otherwise": f"exec sh -s -- 01 {NONCE} about",
    "no nonce": "exec sh -s -- 1",
    "a nonce that is none": "exec sh -s -- 1 nonce about",
    "a nonce of one digit": "exec sh -s -- 1 0 about",
    "no verb": LINE,
    "an unknown verb": LINE + " write {root}",
    "a function of the gate's": LINE + " refuse {root}",
    "an inner name of a verb": LINE + " verb-names {root}",
    "a tool": LINE + " cat {root}",
    "a builtin": LINE + " eval {root}",
    "a pattern of verbs": LINE + " - {root}",
    "an argument too many": LINE + " about {root}",
    "an argument too few": LINE + " walk {root}",
    "a blank before": " " + LINE + " about",
    "a blank after": LINE + " about ",
    "two blanks": LINE + " names  {root}",
    "a very long one": LINE + " names " + "2f" * 50_001,
    "a copy to the box": "scp -t {hole}",
    "a copy from the box": "scp -f {canary}",
    "a mirror from the box": "rsync --server --sender -e.LsfxC . {canary}",
    "another service": "/usr/lib/openssh/sftp-server",
}


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_a_line_that_is_no_request_is_refused(guarded: Guarded, text: str) -> None:
    command = text.format(canary=guarded.canary, hole=guarded.hole, main=guarded.main, root=words(guarded.main))
    told = guarded.ask(os.fsencode(command), b"touch %s\n" % os.fsencode(guarded.hole))
    refused(told)
    guarded.assert_whole(told.out, told.err)


def test_a_line_that_holds_a_nul_does_not_even_reach_the_gate(guarded: Guarded) -> None:
    """OpenSSH's server ends the connection."""
    with pytest.raises((EOFError, paramiko.SSHException)):
        guarded.ask(f"{LINE} names {words(guarded.main)}\0touch {guarded.hole}".encode())
    guarded.assert_whole()


PATHS: dict[str, Callable[[Guarded], str]] = {
    "another tree": lambda box: f"names {words(box.canary.parent)}",
    "a tree whose name begins with the root's": lambda box: f"walk {words(b'gnu', box.srv / 'main2')}",
    "the folder above": lambda box: f"walk {words(b'gnu', box.srv)}",
    "everything": lambda _: f"walk {words(b'gnu', '/')}",
    "everything, spelled otherwise": lambda _: f"names {words('//')}",
    "the system's own": lambda _: f"names {words('/etc')}",
    "by two dots": lambda box: f"names {words(f'{box.main}/../main2')}",
    "by two dots at the end": lambda box: f"names {words(f'{box.main}/..')}",
    "by two dots that come back": lambda box: f"names {words(f'{box.main}/../main')}",
    "by a link to a folder": lambda box: f"names {words(box.main / 'outside')}",
    "by a link to a folder, listed whole": lambda box: f"walk {words(b'gnu', box.main / 'outside')}",
    "by a link to a folder, as a volume": lambda box: f"volume {words(box.main / 'outside')}",
    "below a link, what is not there": lambda box: f"names {words(box.main / 'outside/nothing')}",
    "below a link, a file": lambda box: f"names {words(box.main / 'outside/corncrake.wav')}",
    "elsewhere, what is not there": lambda box: f"names {words(box.srv / 'nothing')}",
    "elsewhere, a file": lambda _: f"names {words('/etc/passwd')}",
    "a relative path": lambda _: f"names {words('main')}",
    "a path that is empty": lambda _: "names -",
    "a path that is an option": lambda _: f"walk {words(b'gnu', '-delete')}",
    "a newline behind the root": lambda box: f"names {words(os.fsencode(box.main) + bytes([50, 10]))}",
    "a look elsewhere": lambda box: f"look {words(box.canary.parent, 'corncrake.wav')}",
    "a look by two dots": lambda box: f"look {words(box.main, '../main2/corncrake.wav')}",
    "a look by two dots within": lambda box: f"look {words(box.main, 'a/../../main2/corncrake.wav')}",
    "a look at two dots": lambda box: f"look {words(box.main, '..')}",
    "a look at an absolute path": lambda box: f"look {words(box.main, box.canary)}",
    "a look below a link": lambda box: f"look {words(box.main, 'outside/corncrake.wav')}",
    "a look below a link, what is not there": lambda box: f"look {words(box.main, 'outside/nothing')}",
    "a look deep below a link": lambda box: f"look {words(box.main, 'outside/nothing/at/all')}",
    "content elsewhere": lambda box: f"content {words(box.canary.parent, 'corncrake.wav')}",
    "content of the system's own": lambda _: f"content {words('/etc', 'passwd')}",
    "content by two dots": lambda box: f"content {words(box.main, '../main2/corncrake.wav')}",
    "content by two dots within": lambda box: f"content {words(box.main, 'a/../../main2/corncrake.wav')}",
    "content at an absolute path": lambda box: f"content {words(box.main, box.canary)}",
    "content below a link": lambda box: f"content {words(box.main, 'outside/corncrake.wav')}",
    "content of a link as the root": lambda box: f"content {words(box.main / 'outside', 'corncrake.wav')}",
    "content after what is allowed": lambda box: f"content {words(box.main, 'take.wav', 'outside/corncrake.wav')}",
    "digests below a link": lambda box: f"digests {words(b'sha256', box.main, 'outside/corncrake.wav')}",
    "a way that is a command": lambda box: f"walk {words(b'gnu;touch x', box.main)}",
    "a way that is a pattern": lambda box: f"walk {words(b'*', box.main)}",
}


@pytest.mark.parametrize("asked", PATHS.values(), ids=PATHS)
def test_what_lies_outside_the_allowed_roots_is_refused(guarded: Guarded, asked: Callable[[Guarded], str]) -> None:
    told = guarded.ask(f"{LINE} {asked(guarded)}".encode())
    refused(told)
    guarded.assert_whole(told.out, told.err)


def test_whether_something_exists_elsewhere_is_not_told(guarded: Guarded) -> None:
    for there, gone in (("/etc", "/etx"), (guarded.main / "outside", guarded.main / "outside/nothing")):
        first = refused(guarded.ask(f"{LINE} names {words(there)}".encode()))
        second = refused(guarded.ask(f"{LINE} names {words(gone)}".encode()))
        assert first.replace(os.fsencode(there), b"") == second.replace(os.fsencode(gone), b"")


def test_hostile_bytes_in_an_argument_are_a_name_and_nothing_else(guarded: Guarded) -> None:
    """Names that hold all that a shell could take for its own reach the tools as they are."""
    everything = bytes(range(1, 47)) + bytes(range(48, 256))
    for name in (
        everything,
        b"$(touch %s)" % os.fsencode(guarded.hole).replace(b"/", b"\\057"),
        b"`id`",
        b"-rf",
        b"*",
        b"\n\n",
    ):
        folder = os.fsencode(guarded.main) + b"/a/" + name
        Path(os.fsdecode(folder), "inner").mkdir(parents=True)
        told = guarded.ask(f"{LINE} names {words(folder)}".encode())
        assert (told.status, told.out.split(b"\0")[1:4]) == (0, [b"folders", b"././inner", b"status"])
        looked = guarded.ask(f"{LINE} look {words(guarded.main, b'a/' + name)}".encode())
        assert looked.out.split(b"\0")[1:4] == [b"looks", b"seen", b"./a/" + name]
    guarded.assert_whole()


@pytest.mark.parametrize("verb", ["about", "tools", "filesystems", "volume", "names", "walk", "look", "content"])
def test_what_is_allowed_is_answered(guarded: Guarded, verb: str) -> None:
    arguments = {
        "volume": words(guarded.main),
        "names": words(guarded.main / "a"),
        "walk": words(b"stat-c", guarded.main),
        "look": words(guarded.main, "take.wav", "corncrake"),
        "content": words(guarded.main, "take.wav", "corncrake"),
    }
    told = guarded.ask(
        f"{LINE} {verb} {arguments.get(verb, '')}".rstrip().encode(), b"touch %s\n" % os.fsencode(guarded.hole)
    )
    assert told.status == 0, told
    assert told.out.startswith(f"B {NONCE} installed\0".encode())
    assert told.out.endswith(f"E {NONCE} 0\0".encode())
    guarded.assert_whole(told.out)


def test_what_is_missing_below_an_allowed_root_is_said_to_be_missing(guarded: Guarded) -> None:
    told = guarded.ask(f"{LINE} names {words(guarded.main / 'gone')}".encode())
    assert b"No such file or directory" in told.out
    assert told.status == 0


def linked(conf: Path) -> None:
    conf.rename(conf.with_name("elsewhere")).chmod(0o666)
    conf.symlink_to("elsewhere")


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda gate: (gate.parent / "gate.conf").chmod(0o646), b"others may write it"),
        (lambda gate: (gate.parent / "gate.conf").chmod(0o664), b"others may write it"),
        (lambda gate: gate.parent.chmod(0o777), b"others may write it"),
        (lambda gate: gate.chmod(0o757), b"others may write it"),
        (lambda gate: (gate.parent / "gate.conf").unlink(), b"not there"),
        (lambda gate: linked(gate.with_name("gate.conf")), b"not there"),
        (lambda gate: (gate.parent / "gate.conf").write_text("root /\nroot relative\n"), b"not understood"),
        (lambda gate: (gate.parent / "gate.conf").write_text("roots /\n"), b"not understood"),
        (lambda gate: (gate.parent / "gate.conf").write_text(""), b"allows no root"),
        (lambda gate: (gate.parent / "gate.conf").write_text("# root /\n"), b"allows no root"),
        (lambda gate: (gate.parent / "gate.conf").write_text("root /srv/main\r\n"), b"allows no root"),
    ],
)  # fmt: skip
def test_a_conf_that_is_not_surely_the_owners_allows_nothing(
    guarded: Guarded, spoil: Callable[[Path], object], why: bytes
) -> None:
    spoil(guarded.gate)
    assert why in refused(guarded.ask(f"{LINE} names {words(guarded.main)}".encode()))


@pytest.mark.root
def test_a_conf_that_belongs_to_another_account_allows_nothing(guarded: Guarded) -> None:
    os.chown(guarded.gate.parent / "gate.conf", 65534, 65534)
    assert b"another account" in refused(guarded.ask(f"{LINE} names {words(guarded.main)}".encode()))


def test_a_link_that_is_swapped_in_meanwhile_leads_nowhere(guarded: Guarded) -> None:
    """One thread swaps a folder for a link that leads out, and back; no answer may show what lies there."""
    flip, spare, link = guarded.srv / "main/a/flip", guarded.srv / "main/a/spare", guarded.srv / "main/a/link"
    flip.mkdir()
    link.symlink_to("../../main2")
    stop = threading.Event()

    def swap() -> None:
        while not stop.is_set():
            flip.rename(spare)
            link.rename(flip)
            flip.rename(link)
            spare.rename(flip)

    thread = threading.Thread(target=swap)
    thread.start()
    answers: set[int] = set()
    try:
        with guarded.connected() as transport:
            began = time.monotonic()
            while time.monotonic() - began < 3 or (answers < {0, 77} and time.monotonic() - began < 60):
                told = over(transport, f"{LINE} names {words(flip)}".encode())
                assert b"corncrake" not in told.out
                answers.add(told.status)
    finally:
        stop.set()
        thread.join()
    assert answers == {0, 77}, "both were met"


def test_a_link_is_sent_as_none_whatever_it_leads_to(guarded: Guarded) -> None:
    told = guarded.ask(f"{LINE} content {words(guarded.main, 'corncrake', 'a', 'nothing', 'take.wav')}".encode())
    fields = told.out.split(b"\0")
    assert fields[1:11] == [
        b"content", b"changed", b"./corncrake", b"", b"changed", b"./a", b"", b"gone", b"./nothing", b"",
    ]  # fmt: skip
    assert fields[11:13] == [b"ok", b"./take.wav"]
    guarded.assert_whole(told.out, told.err)


@contextlib.contextmanager
def swapping(flip: Path, link: Path) -> Iterator[None]:
    """Swap a place for a link and back: about as fast as the gate looks, and now and then so slowly that it meets one.

    Without the gate's look at what it has opened, most of these races are lost within seconds.
    """
    stop, spare = threading.Event(), flip.with_name("spare")
    pauses = itertools.cycle((*[0.002] * 101, 0.3))

    def swap() -> None:
        while not stop.is_set():
            flip.rename(spare)
            link.rename(flip)
            time.sleep(next(pauses))
            flip.rename(link)
            spare.rename(flip)
            time.sleep(next(pauses))

    thread = threading.Thread(target=swap)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


@pytest.mark.parametrize("what", ["file", "folder"])
def test_content_is_not_sent_through_a_link_that_is_swapped_in_meanwhile(guarded: Guarded, what: str) -> None:
    """A file, or its folder, becomes a link that leads out, and back; what lies there never comes."""
    folder, link, allowed = (
        guarded.srv / "main/a/flip",
        guarded.srv / "main/a/link",
        b"a take that may be sent, and is the longer one",
    )
    folder.mkdir()
    (folder / "corncrake.wav").write_bytes(allowed)
    link.symlink_to("../../main2" if what == "folder" else "../../../main2/corncrake.wav")
    flip = folder if what == "folder" else folder / "corncrake.wav"
    sent: set[bool] = set()
    with swapping(flip, link), guarded.connected() as transport:
        began = time.monotonic()
        while time.monotonic() - began < 6 or (len(sent) < 2 and time.monotonic() - began < 60):
            told = over(transport, f"{LINE} content {words(guarded.main, 'a/flip/corncrake.wav')}".encode())
            assert CANARY not in told.out
            sent.add(allowed in told.out)
    assert sent == {True, False}, "both were met"


def test_without_a_line_that_says_so_no_content_is_sent(guarded: Guarded) -> None:
    asked = f"{LINE} content {words(guarded.main, 'take.wav')}".encode()
    for line in ("", f"content {guarded.main}\n", f"send {guarded.main}/a\n", f"send {guarded.main}2\n"):
        (guarded.gate.parent / "gate.conf").write_text(f"root {guarded.main}\n{line}")
        assert b"no content to be sent" in refused(guarded.ask(asked))
    (guarded.gate.parent / "gate.conf").write_text(f"root {guarded.main}\nsend /\n")
    assert guarded.ask(asked).status == 0
    outside = f"{LINE} content {words(guarded.canary.parent, 'corncrake.wav')}".encode()
    refused(guarded.ask(outside))


def hostile_environments(folder: Path, hole: Path) -> Mapping[str, dict[str, str]]:
    script = folder / "hostile"
    script.write_text(f"touch {hole}\n")
    for tool in ("ls", "find", "cat", "stat", "id", "date"):
        (folder / tool).write_text(f"#!/bin/sh\ntouch {hole}\n")
        (folder / tool).chmod(0o755)
    return {
        "PATH": {"PATH": f"{folder}"},
        "ENV": {"ENV": f"{script}"},
        "IFS": {"IFS": "/ns"},
        "CDPATH": {"CDPATH": f"{folder}"},
        "GLOBIGNORE": {"GLOBIGNORE": "*"},
        "a function": {"BASH_FUNC_cd%%": f"() {{ touch {hole}; }}", "BASH_FUNC_ls%%": f"() {{ touch {hole}; }}"},
        "a library": {"LD_PRELOAD": f"{folder}/none.so", "LD_LIBRARY_PATH": f"{folder}"},
        "the tools' own": {"QUOTING_STYLE": "shell", "POSIXLY_CORRECT": "1", "BLOCK_SIZE": "1", "TZ": "X-9"},
        "the gate's own": {"mode": "sent", "roots": "/", "written": "/", "nonce": "x", "begun": "yes", "plain": "/"},
    }  # fmt: skip


def test_no_environment_changes_an_answer(guarded: Guarded, tmp_path: Path) -> None:
    """A server may be told to take variables along (AcceptEnv); here they stand around the gate itself."""
    folder = tmp_path / "tools"
    folder.mkdir()

    def run(asked: str, **more: str) -> Told:
        environment = {"PATH": "/usr/bin:/bin", "SSH_ORIGINAL_COMMAND": f"{LINE} {asked}", **more}
        command = [shutil.which(guarded.shell[0]) or "sh", *guarded.shell[1:], os.fspath(guarded.gate)]
        done = subprocess.run(command, env=environment, capture_output=True, timeout=60, check=False)
        return Told(status=done.returncode, out=done.stdout, err=b"")

    for asked in (f"names {words(guarded.main)}", f"look {words(guarded.main, 'take.wav')}", f"names {words('/etc')}"):
        usual = run(asked)
        for name, environment in hostile_environments(folder, guarded.hole).items():
            assert run(asked, **environment) == usual, name
    guarded.assert_whole()


def ssh(guarded: Guarded, program: str, *arguments: str, stdin: str = "") -> subprocess.CompletedProcess[bytes]:
    access, port = guarded.box.access, "-P" if program in {"scp", "sftp"} else "-p"
    settings = (f"UserKnownHostsFile={access.known_hosts}", "BatchMode=yes", "IdentitiesOnly=yes")
    options = ["-F", "/dev/null", "-i", str(access.identity_file), *(f"-o{setting}" for setting in settings)]
    command = [program, *options, port, str(access.port), *arguments]
    return subprocess.run(command, input=stdin.encode(), capture_output=True, timeout=60, check=False)


def test_no_file_goes_in_or_out(guarded: Guarded, tmp_path: Path) -> None:
    there = f"{guarded.box.access.user}@127.0.0.1"
    (tmp_path / "mine").write_text("mine")
    for done in (
        ssh(guarded, "sftp", "-b", "-", there, stdin=f"get {guarded.canary} {tmp_path}/got\n"),
        ssh(guarded, "sftp", "-b", "-", there, stdin=f"put {tmp_path}/mine {guarded.hole}\n"),
        ssh(guarded, "scp", f"{there}:{guarded.canary}", f"{tmp_path}/got"),
        ssh(guarded, "scp", "-O", f"{there}:{guarded.canary}", f"{tmp_path}/got"),
        ssh(guarded, "scp", f"{tmp_path}/mine", f"{there}:{guarded.hole}"),
        ssh(guarded, "scp", "-O", f"{tmp_path}/mine", f"{there}:{guarded.hole}"),
        ssh(guarded, "ssh", "-s", there, "sftp"),
        ssh(guarded, "ssh", "-W", f"127.0.0.1:{guarded.box.port}", there),
        ssh(guarded, "ssh", there, stdin=f"cat {guarded.canary}\ntouch {guarded.hole}\n"),
        ssh(guarded, "ssh", "-tt", there, stdin=f"cat {guarded.canary}\ntouch {guarded.hole}\n"),
    ):  # fmt: skip
        assert done.returncode != 0
        guarded.assert_whole(done.stdout, done.stderr)
    assert not (tmp_path / "got").exists()


def test_no_terminal_no_agent_and_no_port_is_given(guarded: Guarded) -> None:
    with guarded.connected() as transport:
        with pytest.raises(paramiko.SSHException):
            transport.open_channel("direct-tcpip", ("127.0.0.1", guarded.box.port), ("127.0.0.1", 1), timeout=20)
        with pytest.raises(paramiko.SSHException):
            transport.request_port_forward("127.0.0.1", free_port())
        with pytest.raises(paramiko.SSHException):
            transport.open_session(timeout=20).get_pty()
        channel = transport.open_session(timeout=20)
        channel.request_forward_agent(lambda _: None)
        channel.exec_command(f"{LINE} about".encode())
        assert b"SSH_AUTH_SOCK" not in channel.makefile("rb").read()


def test_a_shell_without_a_command_is_refused(guarded: Guarded) -> None:
    with guarded.connected() as transport:
        channel = transport.open_session(timeout=20)
        channel.invoke_shell()
        channel.sendall(b"touch %s\n" % os.fsencode(guarded.hole))
        out = channel.makefile("rb").read()
        assert channel.recv_exit_status() == 77
    assert b"there is no request" in out
    guarded.assert_whole(out)


def test_a_text_that_was_cut_anywhere_does_nothing(guarded: Guarded) -> None:
    """Sent along instead of installed: half a gate on the way is no gate."""
    text = guarded.gate.read_bytes()
    asked = ["-s", "--", "1", NONCE, "names", words("/etc")]
    for length in [*range(0, len(text) - 200, 997), *range(len(text) - 40, len(text) - 11)]:
        done = subprocess.run(
            [*guarded.shell, *asked], input=text[:length], capture_output=True, timeout=60, check=False
        )
        assert done.stdout == b""
