"""The service files hold what the guide promises; systemd's own tools read them, and their scripts are run."""

from __future__ import annotations

import json
import os
import re
import shlex
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from coverage_audit.cli.main import COMMANDS
from coverage_audit.errors import EX_USAGE, EstateError
from tests.parts.tools import lacking
from tests.parts.unit_sandbox import allowed_calls, directives

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
UNIT = DEPLOY / "coverage-audit.service"
GUIDE = (DEPLOY / "INSTALL.md").read_text(encoding="utf-8")
SERVICE = directives(UNIT, "Service")
HIDES = (
    "PrivateTmp",
    "PrivateDevices",
    "PrivateMounts",
    "PrivateUsers",
    "MountFlags",
    "ProtectProc",
    "ProcSubset",
    "ProtectKernelModules",
    "ProtectClock",
    "DevicePolicy",
    "DeviceAllow",
    "RootDirectory",
    "RootImage",
    "InaccessiblePaths",
    "TemporaryFileSystem",
    "BindPaths",
    "BindReadOnlyPaths",
    "NoExecPaths",
    "DynamicUser",
)
"""Each puts something else in the place of what is there, or forbids it: systemd.exec(5) and resource-control(5)."""
MOST_EXPOSED = 28
"""Tenths, as `systemd-analyze security` counts; what is left of it is what an auditor needs to see."""


def analysed(*words: str | Path) -> subprocess.CompletedProcess[str]:
    lacking("systemd-analyze")
    return subprocess.run(["systemd-analyze", *words], capture_output=True, text=True, check=False)


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """The units with the program that they start, in a root of its own."""
    units = tmp_path / "etc/systemd/system"
    units.mkdir(parents=True)
    (tmp_path / "bin").mkdir()
    for program in ("coverage-audit", "python"):
        (tmp_path / "bin" / program).symlink_to("/bin/true")
    for file in DEPLOY.glob("coverage-audit*.*"):
        if file.suffix in {".service", ".timer"}:
            text = file.read_text(encoding="utf-8").replace("/opt/coverage-audit/bin", str(tmp_path / "bin"))
            (units / file.name).write_text(text, encoding="utf-8")
    return units


@pytest.mark.parametrize("name", ["coverage-audit.service", "coverage-audit-dump.service", "coverage-audit-dump.timer"])
def test_systemd_finds_nothing_wrong_with_the_units(installed: Path, name: str) -> None:
    done = analysed("verify", "--man=no", installed / name)
    assert done.stdout + done.stderr == ""
    assert done.returncode == 0


@pytest.mark.parametrize(("name", "most"), [(UNIT.name, MOST_EXPOSED), ("coverage-audit-dump.service", 10)])
def test_the_units_are_no_more_exposed_than_they_must_be(name: str, most: int) -> None:
    done = analysed("security", "--offline=true", f"--threshold={most}", DEPLOY / name)
    assert done.returncode == 0, done.stdout[-200:]


@pytest.mark.parametrize("name", HIDES)
def test_nothing_hides_what_is_to_be_audited(name: str) -> None:
    assert name not in SERVICE
    assert name in UNIT.read_text(encoding="utf-8") or name in {"BindPaths", "BindReadOnlyPaths", "NoExecPaths"}


def test_homes_are_seen_and_cannot_be_written() -> None:
    assert SERVICE["ProtectHome"] == ["read-only"]
    assert SERVICE["ProtectSystem"] == ["strict"]


def test_the_service_starts_a_command_that_there_is() -> None:
    (start,) = SERVICE["ExecStart"]
    program, command = start.split()
    assert program.endswith("/bin/coverage-audit")
    assert command in COMMANDS


def test_what_starting_again_cannot_mend_is_not_started_again() -> None:
    held = {int(status) for status in SERVICE["RestartPreventExitStatus"][0].split()}
    assert held == {EX_USAGE, EstateError.exit_status}
    assert SERVICE["Restart"] == ["always"]


def test_a_worker_that_is_killed_for_its_memory_does_not_end_the_service() -> None:
    assert SERVICE["MemoryMax"]
    assert SERVICE["OOMPolicy"] == ["continue"]


def test_no_privileged_call_and_every_ordinary_one_is_left() -> None:
    lacking("systemd-analyze")
    calls = allowed_calls(SERVICE["SystemCallFilter"])
    assert {"execve", "clone", "openat", "mmap", "socket", "statx", "kill", "fsync", "renameat"} <= calls
    assert not {"mount", "setuid", "chown", "init_module", "reboot", "open_by_handle_at"} & calls


def test_every_credential_of_the_unit_is_in_the_guide() -> None:
    for said in SERVICE["LoadCredential"]:
        name, file = said.split(":")
        assert re.search(rf"\bcredential: {name}\b", GUIDE)
        assert f"cat > {file}" in GUIDE


def test_by_hand_means_as_the_service(tmp_path: Path) -> None:
    """The script hands systemd-run the unit's account and sandbox, in the unit's order, and the words unchanged."""
    script(tmp_path / "systemctl", f"cat {shlex.quote(str(UNIT))}; printf '[Service]\\nLoadCredential=\\n'")
    script(tmp_path / "systemd-run", 'printf "%s\\n" "$@"')
    done = subprocess.run(
        [DEPLOY / "as-service", "waive", "age:a b", "--why", "it's *"],
        capture_output=True,
        text=True,
        check=True,
        env={"PATH": f"{tmp_path}:{os.environ['PATH']}"},
    )
    lines = done.stdout.splitlines()

    assert lines[-5:] == ["/opt/coverage-audit/bin/coverage-audit", "waive", "age:a b", "--why", "it's *"]
    handed = [line.removeprefix("--property=") for line in lines if line.startswith("--property=")]
    left_out = r"(Type|NotifyAccess|Exec\w+|Watchdog\w+|Restart\w*|Timeout\w+|RemoveIPC)"
    expected = [f"{name}={value}" for name, values in SERVICE.items() for value in values]
    expected = [line for line in expected if not re.match(left_out + "=", line)]
    assert sorted(handed[:-1]) == sorted(expected)
    assert handed[-1] == "LoadCredential="
    assert handed.index("SystemCallFilter=@system-service") < handed.index("SystemCallFilter=~@privileged @resources")


def test_by_hand_without_the_service_says_so(tmp_path: Path) -> None:
    script(tmp_path / "systemctl", "exit 0")
    environment = {"PATH": f"{tmp_path}:{os.environ['PATH']}"}
    done = subprocess.run(
        [DEPLOY / "as-service", "audit"], capture_output=True, text=True, check=False, env=environment
    )
    assert done.returncode == 69
    assert "ExecStart" in done.stderr


def test_the_copy_of_a_ledger_in_use_is_whole(tmp_path: Path) -> None:
    ledger = sqlite3.connect(tmp_path / "ledger.db", isolation_level=None)
    ledger.execute("pragma journal_mode=wal")
    ledger.execute("create table nights (night text)")
    ledger.executemany("insert into nights values (?)", [(str(number),) for number in range(5000)])
    (tmp_path / "dump").mkdir()
    (start,) = directives(DEPLOY / "coverage-audit-dump.service", "Service")["ExecStart"]
    _, *words = shlex.split(start)

    for _ in range(2):  # the second replaces the first
        subprocess.run([sys.executable, *words], cwd=tmp_path, check=True)

    ledger.close()
    with sqlite3.connect(tmp_path / "dump/ledger.db") as copy:
        assert copy.execute("select count(*) from nights").fetchone() == (5000,)
        assert copy.execute("pragma integrity_check").fetchone() == ("ok",)
    copy.close()
    assert [file.name for file in (tmp_path / "dump").iterdir()] == ["ledger.db"]


def test_the_guide_names_only_commands_options_and_files_that_there_are() -> None:
    said = re.findall(r"(?:bin/coverage-audit|audit-as-service) ([a-z]+)((?: --?[\w-]+)*)", "\n".join(shell_lines()))
    assert said
    for command, options in said:
        assert command in COMMANDS
        help_text = subprocess.run(
            [sys.executable, "-m", "coverage_audit", command, "--help"], capture_output=True, text=True, check=True
        ).stdout
        assert all(option in help_text for option in options.split())
    for name in re.findall(r"deploy/[\w.-]+", GUIDE):
        assert (DEPLOY.parent / name).exists()


def test_the_shell_of_the_guide_is_well_formed() -> None:
    for shell in ("sh", "bash"):
        subprocess.run([shell, "-n"], input="\n".join(shell_lines()), text=True, check=True)


def test_what_the_guide_puts_in_place_it_also_takes_away() -> None:
    lines = shell_lines()
    removal = "\n".join(lines[lines.index("systemctl disable --now coverage-audit coverage-audit-dump.timer") :])
    for line in lines:
        words = shlex.split(line.split(">")[0])
        if words[:1] == ["install"]:
            place = words[-1]
            names = (
                [place] if not place.endswith("/") else [place + Path(word).name for word in words if "deploy/" in word]
            )
            for name in names:
                above = {name, *(str(parent) for parent in Path(name).parents)}
                assert above & set(shlex.split(removal)), name


def test_the_account_that_the_guide_makes_is_that_of_the_unit() -> None:
    (line,) = [line for line in (DEPLOY / "coverage-audit.sysusers").read_text().splitlines() if line[:2] == "u "]
    kind, name, number, words, home, shell = shlex.split(line)
    assert (kind, name, number) == ("u", SERVICE["User"][0], "-")
    assert home == f"/var/lib/{SERVICE['StateDirectory'][0]}"
    assert shell.endswith("nologin")
    assert words


def test_the_container_file_uses_known_instructions_and_ends_as_nobody_special() -> None:
    steps = instructions()
    known = {"FROM", "RUN", "COPY", "ENV", "WORKDIR", "USER", "VOLUME", "STOPSIGNAL", "ENTRYPOINT", "CMD"}
    assert {word for word, _ in steps} <= known, "ADD could fetch from elsewhere"
    assert [said for word, said in steps if word == "USER"] == ["10001:10001"]
    order = [word for word, _ in steps]
    assert order.index("USER") > max(number for number, word in enumerate(order) if word in {"RUN", "COPY"})
    assert [json.loads(said) for word, said in steps if word in {"ENTRYPOINT", "CMD"}] == [
        ["coverage-audit"],
        ["daemon"],
    ]
    assert {volume for word, said in steps if word == "VOLUME" for volume in json.loads(said)} == {"/estate", "/state"}


def test_the_container_file_copies_what_the_wheel_is_made_of_and_no_secret() -> None:
    copied = [said.split()[:-1] for word, said in instructions() if word == "COPY" and "--from" not in said]
    names = {name for several in copied for name in several}
    assert all((DEPLOY.parent / name).exists() for name in names)
    project = (DEPLOY.parent / "pyproject.toml").read_text(encoding="utf-8")
    included = re.search(r"force-include\]\n(.*?)\n\n", project, re.DOTALL)
    assert included
    assert set(re.findall(r'^"([^"]+)" =', included[1], re.MULTILINE)) <= names
    text = (DEPLOY / "Containerfile").read_text(encoding="utf-8")
    assert "tzdata" in text
    assert not re.search(r"(?i)password|token|secret=|\bid_ed25519\b", text)


def instructions() -> list[tuple[str, str]]:
    text = re.sub(r"(?m)^#.*\n", "", (DEPLOY / "Containerfile").read_text(encoding="utf-8"))
    lines = re.sub(r"\\\n\s*", "", text).splitlines()
    return [(word, said) for word, _, said in (line.partition(" ") for line in lines if line.strip())]


def shell_lines() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", GUIDE, re.DOTALL)
    return [line for block in blocks for line in block.splitlines()]


def script(file: Path, body: str) -> None:
    file.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    file.chmod(0o755)
