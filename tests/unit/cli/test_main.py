"""The command line's edges: help, wrong words, a broken file, a defect."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from coverage_audit import errors
from coverage_audit.cli.main import COMMANDS
from coverage_audit.cli.places import default_estate, default_state

ROOT = Path(__file__).resolve().parents[3]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "coverage_audit", *words], capture_output=True, text=True, check=False, cwd=ROOT
    )


def test_help_names_every_command() -> None:
    done = run("--help")
    assert done.returncode == 0
    assert all(name in done.stdout for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_own_help(name: str) -> None:
    done = run(name, "--help")
    assert done.returncode == 0
    assert "Usage: coverage-audit " + name in done.stdout


def test_help_imports_no_heavy_library() -> None:
    script = "import sys; import coverage_audit.cli.main; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert not {"paramiko", "duckdb", "pyarrow", "numpy", "sqlalchemy", "pydantic", "apprise"} & set(
        done.stdout.split()
    )


def test_a_word_that_is_no_command_is_a_matter_of_usage() -> None:
    done = run("audti")
    assert done.returncode == errors.EX_USAGE
    assert "Traceback" not in done.stderr


def test_an_estate_file_that_is_not_there_is_said_in_one_message(tmp_path: Path) -> None:
    done = run("audit", "--estate", str(tmp_path / "none.yaml"), "--state", str(tmp_path / "state"))
    assert done.returncode == errors.EX_ESTATE_WRONG
    assert "none.yaml" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_state_folder_that_cannot_be_made_is_said_in_one_message(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    sample = ROOT / "sample_config" / "tour.yaml"
    done = run("audit", "--estate", str(sample), "--state", str(tmp_path / "file" / "state"))
    assert done.returncode == errors.EX_IOERR
    assert "Traceback" not in done.stderr


# sysexits.h, 4.3BSD: EX_USAGE 64, EX_UNAVAILABLE 69, EX_SOFTWARE 70, EX_CANTCREAT 73, EX_IOERR 74,
# EX_TEMPFAIL 75, EX_PROTOCOL 76, EX_CONFIG 78; Python's os module carries the same numbers.
def test_exit_statuses_are_those_of_sysexits() -> None:
    import os  # noqa: PLC0415 - the reference

    ours = (
        errors.EX_USAGE,
        errors.EX_EVIDENCE_MISSING,
        errors.EX_SOFTWARE,
        errors.EX_CANTCREAT,
        errors.EX_IOERR,
        errors.EX_ANOTHER_AUDIT,
        errors.EX_NOTICE_FAILED,
        errors.EX_ESTATE_WRONG,
    )
    theirs = (
        os.EX_USAGE,
        os.EX_UNAVAILABLE,
        os.EX_SOFTWARE,
        os.EX_CANTCREAT,
        os.EX_IOERR,
        os.EX_TEMPFAIL,
        os.EX_PROTOCOL,
        os.EX_CONFIG,
    )
    assert ours == theirs


def test_every_error_of_a_room_has_an_exit_status_of_its_own_room() -> None:
    children = errors.CoverageAuditError.__subclasses__()
    assert len(children) >= 8
    assert all(child.exit_status != 0 for child in children)


# XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME or ~/.config, $XDG_STATE_HOME or ~/.local/state.
def test_the_default_places_are_those_of_xdg(tmp_path: Path) -> None:
    assert default_state({}, tmp_path) == tmp_path / ".local/state/coverage-audit"
    assert default_state({"XDG_STATE_HOME": "/srv/state"}, tmp_path) == Path("/srv/state/coverage-audit")
    own = default_estate({"XDG_CONFIG_HOME": str(tmp_path)}, tmp_path)
    assert own.name == "estate.yaml"
