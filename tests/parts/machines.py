"""Boxes that are machines of their own as far as anyone can see: a real SSH server in a chroot and namespaces.

A machine shows its own machine id, boot id, host name and host key, and a physical drive below a loop volume. What it
shows lies in mounts that nobody else sees and that vanish with its last process. Needs root.
"""

from __future__ import annotations

import subprocess
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from shlex import quote
from typing import Protocol

import pytest

from tests.parts.sshd import Box, StartSshd

_OWN_ROOT = """
set -e
root={root}
mount -t tmpfs machine "$root"
for entry in /*; do
  name=${{entry#/}}
  case $name in run | proc.old) continue ;; esac
  if [ -L "$entry" ]; then cp -P "$entry" "$root/$name"
  elif [ -d "$entry" ]; then mkdir "$root/$name"; mount --rbind "$entry" "$root/$name"; fi
done
mkdir -p "$root/run/sshd"
chmod 755 "$root/run/sshd"
hostname {name}
{shown}
exec chroot "$root" "$@"
"""
# A file in the place of one that shows something; of what the machine at hand does not have nothing is shown anyway.
_COVER = 'if [ -e "$root"{place} ]; then mount --bind {by} "$root"{place}; fi'
_SIGNS_OF_A_GUEST = ("/sys/devices/virtual/dmi/id", "/sys/hypervisor")


@dataclass(frozen=True, kw_only=True)
class Shows:
    """What a machine shows of itself; None: nothing. `drives`: a physical drive's serial by the mounted loop folder."""

    machine_id: str | None = field(default_factory=lambda: uuid.uuid4().hex)
    boot_id: str | None = field(default_factory=lambda: str(uuid.uuid4()))
    guest: bool = False
    drives: Mapping[Path, str] = field(default_factory=dict)


class StartMachine(Protocol):
    """Starts a machine. Mount what it is to show before."""

    def __call__(self, name: str, shows: Shows | None = None) -> Box:
        """Return its running server."""


@pytest.fixture
def start_machine(start_sshd: StartSshd, tmp_path: Path) -> StartMachine:
    """Give a way to start machines; all end with the test."""

    def start(name: str, shows: Shows | None = None) -> Box:
        folder = tmp_path / f"machine-{name}"
        (folder / "root").mkdir(parents=True)
        (folder / "nothing").mkdir()
        shown = "\n".join(_covers(folder, shows or Shows()))
        script = _OWN_ROOT.format(root=quote(str(folder / "root")), name=quote(name), shown=shown)
        return start_sshd(
            within=("unshare", "--mount", "--uts", "--propagation", "private", "sh", "-c", script, "machine")
        )

    return start


def _covers(folder: Path, shows: Shows) -> list[str]:
    files = {
        "/etc/machine-id": f"{shows.machine_id}\n" if shows.machine_id else "",
        "/var/lib/dbus/machine-id": f"{shows.machine_id}\n" if shows.machine_id else "",
        "/proc/sys/kernel/random/boot_id": f"{shows.boot_id}\n" if shows.boot_id else "",
        "/proc/cpuinfo": "flags\t\t: fpu hypervisor\n" if shows.guest else "flags\t\t: fpu\n",
        "/proc/1/cgroup": "0::/init.scope\n",
        "/usr/bin/systemd-detect-virt": "",  # not executable: a machine without that detector
    }
    covers = [_cover(place, _file(folder, number, text)) for number, (place, text) in enumerate(files.items())]
    covers += [_cover(place, folder / "nothing") for place in _SIGNS_OF_A_GUEST]
    return covers + [_cover(*_drive(folder, mounted, serial)) for mounted, serial in shows.drives.items()]


def _cover(place: str, by: Path) -> str:
    return _COVER.format(place=quote(place), by=quote(str(by)))


def _file(folder: Path, number: int, text: str) -> Path:
    file = folder / f"shown-{number}"
    file.write_text(text)
    return file


def _drive(folder: Path, mounted: Path, serial: str) -> tuple[str, Path]:
    """Make the loop device below a mount look like a drive: the kernel's own words for one (sysfs)."""
    found = subprocess.check_output(["findmnt", "-n", "-o", "SOURCE", "-M", str(mounted)], text=True).strip()
    device = Path(found.partition("[")[0]).name
    sysfs = Path(f"/sys/devices/virtual/block/{device}")
    drive = folder / f"drive-{device}"
    (drive / "queue").mkdir(parents=True)
    (drive / "dev").write_text((sysfs / "dev").read_text())
    (drive / "serial").write_text(f"{serial}\n")
    (drive / "queue/rotational").write_text("1\n")
    return str(sysfs), drive
