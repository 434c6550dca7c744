"""A field station of the test's own: an estate text, real folders, a state folder, and audits of them.

`night()` audits in this process with a clock that the test moves; `command()` runs the installed command line.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from textwrap import dedent
from typing import Any
from unittest import mock

import pytest

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.cli.main import run
from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.estate.reader import read_estate
from coverage_audit.judgement.verdict import Answer, Finding, JudgedCopy, JudgedDataset
from coverage_audit.wiring import assembled, wall_clock

HEAD = """\
estate: Saltreach Field Station
time_zone: Europe/Dublin
"""

ORDINARY = ("setpriv", "--inh-caps=-all", "--bounding-set=-dac_override,-dac_read_search")
"""Runs a command as root without root's right to read everything."""


@dataclass(frozen=True, kw_only=True)
class Ran:
    """What a command did: its exit status and what it printed."""

    status: int
    out: str
    err: str

    @property
    def object(self) -> dict[str, Any]:
        """The JSON object that it printed."""
        loaded: dict[str, Any] = json.loads(self.out)
        return loaded


@dataclass(kw_only=True)
class Station:
    """Folders below `root`, an estate that names them, and a clock `ahead` of the real one."""

    root: Path
    ahead: timedelta = timedelta(0)
    state: Path = field(init=False)
    estate_file: Path = field(init=False)

    def __post_init__(self) -> None:
        self.state = self.root / "state"
        self.estate_file = self.root / "estate.yaml"

    def declare(self, text: str) -> None:
        """Write the estate; `{root}` stands for the station's folder."""
        self.estate_file.write_text(HEAD + dedent(text).replace("{root}", str(self.root)), encoding="utf-8")

    @property
    def estate(self) -> Estate:
        """The estate as it is declared now."""
        return read_estate(self.estate_file)

    def write(self, place: str, content: bytes | str = b"field notes", age: timedelta = timedelta(days=90)) -> Path:
        """Write a file below the root, last changed `age` before now."""
        file = self.root / place
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content.encode() if isinstance(content, str) else content)
        self.stamp(place, age)
        return file

    def stamp(self, place: str, age: timedelta) -> None:
        """Set a file's mtime to `age` before now, by the station's clock."""
        moment = int((self.now() - age).timestamp() * 10**9)
        os.utime(self.root / place, ns=(moment, moment))

    def mirror(self, original: str, copy: str, *options: str) -> None:
        """Bring a copy into line by rsync, times and deletions included."""
        (self.root / copy).mkdir(parents=True, exist_ok=True)
        command = ["rsync", "-a", "--delete", *options, f"{self.root / original}/", f"{self.root / copy}/"]
        subprocess.run(command, check=True)

    def now(self) -> datetime:
        """The moment by the station's clock."""
        return wall_clock() + self.ahead

    def pass_time(self, span: timedelta) -> None:
        """Move the clock on."""
        self.ahead += span

    def night(self, *datasets: str) -> Audited:
        """Audit now, in this process, by the station's clock."""
        estate = self.estate
        with assembled(estate, self.state, clock=self.now) as parts:
            audited = run_audit(estate, datasets, parts)
            if audited.judged.whole:  # whatever a test's audit saw, the ledger gives it back as it was judged
                assert parts.ledger.past.judged() == audited.judged
            return audited

    def called(self, *words: str) -> Ran:
        """Run the same command line in this process: a tenth of the time, for tests that run very many."""
        verb, *rest = words
        line = ["coverage-audit", verb, "--estate", str(self.estate_file), "--state", str(self.state), *rest]
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err), mock.patch.object(sys, "argv", line):
            try:
                run()
            except SystemExit as ended:
                status = ended.code if isinstance(ended.code, int) else 0
        return Ran(status=status, out=out.getvalue(), err=err.getvalue())

    def command(
        self, *words: str, environment: Mapping[str, str] | None = None, prefix: Sequence[str] = (), limit: float = 120
    ) -> Ran:
        """Run `coverage-audit` with this estate and state."""
        verb, *rest = words
        command = [*prefix, sys.executable, "-m", "coverage_audit", verb]
        if verb != "tour":
            command += ["--estate", str(self.estate_file), "--state", str(self.state)]
        done = subprocess.run(
            [*command, *rest],
            capture_output=True,
            check=False,
            timeout=limit,
            env={**os.environ, **(environment or {})},
        )
        return Ran(status=done.returncode, out=done.stdout.decode(), err=done.stderr.decode())


@pytest.fixture
def station(tmp_path: Path) -> Station:
    """An empty station."""
    return Station(root=tmp_path)


def dataset_of(audited: Audited, name: str) -> JudgedDataset:
    """One dataset of an audit."""
    return next(dataset for dataset in audited.judged.datasets if dataset.id == DatasetId(name))


def copy_of(audited: Audited, name: str, number: int = 0) -> JudgedCopy:
    """One copy of a dataset."""
    return dataset_of(audited, name).copies[number]


def answers_of(findings: Sequence[Finding], rule: str) -> set[Answer]:
    """What a rule answered."""
    return {finding.answer for finding in findings if finding.rule == rule}


def failing_rules(audited: Audited, name: str) -> set[str]:
    """The rules that found a nonconformity in a dataset."""
    return {f.rule for f in dataset_of(audited, name).findings if f.answer is Answer.NONCONFORMITY}


def at(text: str) -> datetime:
    """An instant in UTC from RFC 3339 text."""
    return datetime.fromisoformat(text).astimezone(UTC)
