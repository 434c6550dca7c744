"""What a box says of its tools."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from coverage_audit.collectors.gate_text import gate_text
from coverage_audit.collectors.readers import box_tools
from coverage_audit.collectors.readers.box_tools import Tools
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind
from tests.parts.busybox import a_path_of_busybox

NONCE = "0123456789abcdef"


def found(path: Path | str, text: bytes | None = None) -> Tools:
    done = subprocess.run(
        ["/bin/sh", "-s", "--", *box_tools.request(NONCE).words],
        input=text or gate_text(),
        capture_output=True,
        check=False,
        env={"PATH": os.fspath(path)},
    )
    return box_tools.parse(done.stdout, done.returncode, nonce=NONCE)


def fake(folder: Path, name: str, text: str) -> None:
    (folder / name).unlink(missing_ok=True)
    (folder / name).write_text(f"#!/bin/sh\n{text}\n")
    (folder / name).chmod(0o755)


@pytest.fixture
def tools(tmp_path: Path) -> Path:
    return a_path_of_busybox(tmp_path / "bin")


@pytest.fixture
def foreign(tools: Path) -> Path:
    """Tools whose find is none that is at hand; BusyBox's runs its own stat whatever the PATH says."""
    script = 'while [ $# -gt 1 ] && [ "$1" != -c ]; do shift; done; [ "$1" = -c ] && exec /bin/sh -c "$2" sh ./.'
    fake(tools, "find", script)
    return tools


def test_gnu_is_known_by_what_its_find_prints() -> None:
    assert found("/usr/bin:/bin") == Tools(walk="gnu", precision_ns=1, digests=("sha256", "sha1", "md5", "sha512"))


def test_busybox_is_known_by_what_its_stat_prints(tools: Path) -> None:
    assert found(tools).walk == "stat-c"
    assert found(tools).precision_ns == 1


# By hand: BusyBox before 1.32 prints nine zeros and no offset; stat -f of a BSD as its manual says (none was at hand).
OLD = "41ed 4096 8 3 1700000000 2023-11-14 22:13:20.000000000 1700000000 2023-11-14 22:13:20.000000000 65024 ././"
BSD = "41ed 512 8 3 1700000000.000000000 1700000001.250000000 101 ././"


def test_a_busybox_without_fractions_tells_whole_seconds(foreign: Path) -> None:
    fake(foreign, "stat", f"echo '{OLD}'")
    assert (found(foreign).walk, found(foreign).precision_ns) == ("stat-c", 10**9)


def test_a_bsd_is_known_by_what_its_stat_prints(foreign: Path) -> None:
    fake(foreign, "stat", f'case $1 in -f) echo "{BSD}" ;; *) echo "stat: illegal option -- c" >&2; exit 1 ;; esac')
    assert found(foreign).walk == "stat-f"


@pytest.mark.parametrize(
    "printed", ["", "41ed", OLD.replace("././", "./."), OLD.replace(" 8 ", " x "), OLD.replace(".000000000", "")]
)
def test_a_stat_that_prints_something_else_is_of_no_use(foreign: Path, printed: str) -> None:
    fake(foreign, "stat", f"echo '{printed}'")
    assert found(foreign).walk is None


@pytest.mark.parametrize("name", ["sha256", "openssl"])
def test_digests_are_known_by_what_is_printed_whatever_makes_them(tools: Path, name: str) -> None:
    for tool in ("sha256sum", "sha512sum", "sha1sum", "md5sum"):
        (tools / tool).unlink()
    asked = "-q" if name == "sha256" else "dgst -r -sha256"  # as a BSD's own tool prints it, and openssl's manual says
    end = "" if name == "sha256" else " *stdin"
    fake(tools, name, f'[ "$*" = "{asked}" ] || exit 1; d=$(busybox sha256sum); echo "${{d%% *}}{end}"')
    (tools / "busybox").symlink_to(shutil.which("busybox") or "busybox")

    assert found(tools).digests == ("sha256",)


def test_a_tool_that_prints_another_digest_is_none(tools: Path) -> None:
    fake(tools, "sha256sum", "cat >/dev/null; echo e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")

    assert "sha256" not in found(tools).digests


def test_an_answer_without_a_way_is_none() -> None:
    with pytest.raises(TransportError) as raised:
        box_tools.parse(f"B {NONCE} sent\0walk\0best\0fraction\0ns\0E {NONCE} 0\0".encode(), 0, nonce=NONCE)
    assert raised.value.kind is GapKind.MALFORMED
