"""A gate that is installed as the forced command of the auditor's key, and what stands beside it."""

from __future__ import annotations

import os
import shlex
import shutil
from collections.abc import Sequence
from pathlib import Path

from coverage_audit.collectors.gate_text import gate_file
from tests.parts.sshd import Box


def install_gate(folder: Path, conf: str, mode: int = 0o644) -> Path:
    """Put the gate and its gate.conf into `folder`, as an owner does; returns the gate."""
    folder.mkdir(parents=True)
    folder.chmod(0o755)
    gate = Path(shutil.copy(gate_file(), folder / "gate"))
    gate.chmod(0o755)
    (folder / "gate.conf").write_text(conf)
    (folder / "gate.conf").chmod(mode)
    return gate


def force_gate(box: Box, gate: Path, shell: Sequence[str] = ()) -> None:
    """Make the gate the only thing that the auditor's key may run on `box`, by its own shell or by another one."""
    command = shlex.join([*shell, os.fspath(gate)])
    key = (box.folder / "auditor.pub").read_text()
    (box.folder / "authorized_keys").write_text(f'restrict,command="{command}" {key}')
