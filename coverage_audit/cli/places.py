"""The two options that every command takes: where the estate file and the state folder are."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import click

_F = TypeVar("_F", bound=Callable[..., Any])
SYSTEM_ESTATE = Path("/etc/coverage-audit/estate.yaml")


def default_estate(environment: Mapping[str, str], home: Path) -> Path:
    """Return the owner's estate file (XDG base directories), else the system's where only that exists."""
    base = Path(environment.get("XDG_CONFIG_HOME") or home / ".config")
    own = base / "coverage-audit" / "estate.yaml"
    return SYSTEM_ESTATE if SYSTEM_ESTATE.exists() and not own.exists() else own


def default_state(environment: Mapping[str, str], home: Path) -> Path:
    """Return the owner's state folder (XDG base directories)."""
    base = Path(environment.get("XDG_STATE_HOME") or home / ".local" / "state")
    return base / "coverage-audit"


def estate_option(function: _F) -> _F:
    """Add `--estate FILE`."""
    return click.option(
        "--estate",
        "estate_file",
        type=click.Path(path_type=Path, dir_okay=False),
        envvar="COVERAGE_AUDIT_ESTATE",
        default=lambda: default_estate(os.environ, Path.home()),
        show_default="~/.config/coverage-audit/estate.yaml",
        help="The estate file.",
    )(function)


def state_option(function: _F) -> _F:
    """Add `--state DIR`."""
    return click.option(
        "--state",
        "state_folder",
        type=click.Path(path_type=Path, file_okay=False),
        envvar="COVERAGE_AUDIT_STATE",
        default=lambda: default_state(os.environ, Path.home()),
        show_default="~/.local/state/coverage-audit",
        help="The folder of the ledger and the manifests.",
    )(function)
