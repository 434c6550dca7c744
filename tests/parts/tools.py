"""Which system tools a test needs: where one is missing the test is skipped and says so, in CI it fails.

CI installs them all (`.ci/run`), so there a missing one is a mistake of the script.
"""

from __future__ import annotations

import os
import shutil
from typing import Final

import pytest

_SSH: Final = ("sshd", "ssh-keygen", "ssh-agent", "ssh-add")
_OF_FIXTURES: Final = {
    "start_sshd": _SSH,
    "box": _SSH,
    "start_machine": (*_SSH, "unshare"),
    "station": ("rsync",),
    "chromium": ("chromium", "chromedriver"),
    "pool_of_zfs": ("zfs-fuse", "zfs", "zpool"),
    "mount_hanging": ("sshfs", "nsenter", "unshare", *_SSH),
    "clock": ("faketime",),
    "make_volume": ("mount", "mkfs.ext4", "mkfs.btrfs"),
}
_OF_FILES: Final = {
    "test_against_rsync.py": ("rsync",),
    "test_alive.py": ("openssl",),
    "test_device_facts.py": ("busybox",),
    "test_every_way.py": ("busybox", "unshare", "setpriv", "find", *_SSH),
    "test_stat_tree.py": ("busybox",),
    "test_box_tools.py": ("busybox", "find"),
    "test_mixed_boxes.py": ("busybox",),
    "test_walks.py": ("busybox", "find"),
    "test_find_tree.py": ("busybox", "find"),
    "test_gate.py": ("busybox", "dash", "bash"),
    "test_gate_break_out.py": ("busybox", "dash", "bash", "ssh", "scp", "sftp"),
    "test_open_manifests.py": ("sha256sum", "mtree", "bsdtar"),
    "test_second_look.py": ("busybox",),
    "test_volume_facts.py": ("busybox",),
    "test_unreadable_folders.py": ("setpriv",),
    "test_service_sandbox.py": ("unshare", "setpriv", "mount", "systemd-analyze", "rsync"),
}
_ELSEWHERE: Final = "/usr/sbin:/sbin:/usr/local/sbin"


def lacking(*tools: str) -> None:
    """End the running test if one of these tools is not installed: as skipped, or as failed in CI."""
    path = f"{os.environ.get('PATH', '')}:{_ELSEWHERE}"
    missing = [tool for tool in tools if shutil.which(tool, path=path) is None]
    if missing:
        _end(f"not installed: {', '.join(missing)}")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Look for what a test's fixtures, its file and its marks need."""
    if item.get_closest_marker("root") and os.geteuid() != 0:
        _end("needs root (mounts, other accounts)")
    if "mount_hanging" in getattr(item, "fixturenames", []) and not os.access("/dev/fuse", os.R_OK | os.W_OK):
        _end("there is no /dev/fuse")
    names: list[str] = getattr(item, "fixturenames", [])
    lacking(*_OF_FILES.get(item.path.name, ()), *(tool for name in names for tool in _OF_FIXTURES.get(name, ())))


def _end(why: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(why, pytrace=False)
    pytest.skip(why)
