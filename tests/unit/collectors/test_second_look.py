"""A second look at named paths."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.readers import second_look
from coverage_audit.collectors.requests import LONGEST
from coverage_audit.collectors.transport import TransportError
from coverage_audit.errors import CollectionError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import NONCE, answered, framed_reply

HOSTILE = [
    b"-x",
    b"a\nb",
    b"tab\t",
    b"it's",
    b'"',
    b"$(reboot)",
    b"<script>",
    b"f\xff",
    b"\xe2\x80\xae",
    b"\x1b[2J",
    b"gone",
]


def looked(root: Path, paths: list[bytes]) -> tuple[SecondLook, ...]:
    reply, status = answered(second_look.request(str(root), paths, NONCE), before=b"banner\n")
    return second_look.parse(reply, status, nonce=NONCE, root=str(root), paths=paths)


def test_what_is_there_shows_what_lstat_shows(tmp_path: Path) -> None:
    root = os.fsencode(tmp_path) + b"/"
    for name in HOSTILE[:-1]:
        (Path(os.fsdecode(root + name))).write_bytes(b"xyz")
    os.utime(root + b"-x", ns=(0, -86_400_500_000_000))
    (tmp_path / "link").symlink_to("/nowhere")
    paths = [*HOSTILE[:-1], b"link"]
    looks = looked(tmp_path, paths)
    assert [look.path for look in looks] == paths
    for look in looks:
        there = os.lstat(root + look.path)
        assert (look.size, look.mtime_ns, look.ctime_ns) == (there.st_size, there.st_mtime_ns, there.st_ctime_ns)
        assert look.birth_ns is None or look.birth_ns <= there.st_ctime_ns


def test_what_is_gone_is_said_to_be_gone(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    here, gone, below = looked(tmp_path, [b"file", b"gone", b"file/below"])
    assert here.size == 1
    assert gone == SecondLook(path=b"gone", size=None, mtime_ns=None, ctime_ns=None, birth_ns=None)
    assert below.mtime_ns is None


def test_what_cannot_be_looked_at_is_not_said_to_be_gone(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to("loop")  # ELOOP: neither there nor gone
    (tmp_path / "file").write_text("x")
    assert [look.path for look in looked(tmp_path, [b"loop/x", b"file"])] == [b"file"]


@pytest.mark.root
def test_a_folder_that_may_not_be_entered_hides_and_does_not_lose(tmp_path: Path) -> None:
    for folder in (tmp_path, *tmp_path.parents[:-2]):
        folder.chmod(0o755)
    (tmp_path / "closed").mkdir()
    (tmp_path / "closed" / "file").write_text("x")
    (tmp_path / "open").write_text("x")
    (tmp_path / "closed").chmod(0o700)
    request = second_look.request(str(tmp_path), [b"closed/file", b"open"], NONCE)
    reply, status = answered(request, by=("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "sh"))
    looks = second_look.parse(reply, status, nonce=NONCE, root=str(tmp_path), paths=[b"closed/file", b"open"])
    assert [look.path for look in looks] == [b"open"]


def test_a_root_that_is_empty_now_has_lost_its_volume_not_its_files(tmp_path: Path) -> None:
    with pytest.raises(TransportError) as refused:
        looked(tmp_path, [b"file"])
    assert refused.value.kind is GapKind.NOT_MOUNTED


def test_a_root_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(TransportError) as refused:
        looked(tmp_path / "gone", [b"file"])
    assert refused.value.kind is GapKind.MISSING


def test_a_box_without_gnu_tools_tells_the_same_but_no_birth(tmp_path: Path) -> None:
    root = os.fsencode(tmp_path) + b"/"
    for name in HOSTILE[:-1]:
        (Path(os.fsdecode(root + name))).write_bytes(b"xyz")
    os.utime(root + b"-x", ns=(0, -86_400_500_000_000))
    os.utime(root + b"a\nb", ns=(0, 4_102_444_800_000_000_001))
    reply, status = answered(second_look.request(str(tmp_path), HOSTILE, NONCE), by=("busybox", "sh"))
    looks = second_look.parse(reply, status, nonce=NONCE, root=str(tmp_path), paths=HOSTILE)
    assert [look.path for look in looks] == HOSTILE
    assert looks == tuple(replace(look, birth_ns=None) for look in looked(tmp_path, HOSTILE))


@pytest.mark.parametrize(
    "figures", [b"3 2026-13-01 00:00:00.000000000 +0000 2026-11-01 00:00:00.000000000 +0000", b"", b"3"]
)
def test_figures_of_another_shape_are_no_look(figures: bytes) -> None:
    reply = framed_reply(("looks", b"seen"), ("./x", figures))
    with pytest.raises(TransportError) as refused:
        second_look.parse(reply, 0, nonce=NONCE, root="/r", paths=[b"x"])
    assert refused.value.kind is GapKind.MALFORMED


def test_the_figures_of_a_bsd_are_read() -> None:
    """FreeBSD's stat(1): %z size, %Fm %Fc %FB times with nine decimals (from its manual, not run here)."""
    reply = framed_reply(("looks", b"seen"), ("./x", b"3 -1.500000000 1795588705.123456789 1795588700.000000001"))
    (look,) = second_look.parse(reply, 0, nonce=NONCE, root="/r", paths=[b"x"])
    assert (look.size, look.ctime_ns, look.birth_ns) == (3, 1_795_588_705_123_456_789, 1_795_588_700_000_000_001)


def test_a_look_without_a_birth_time_has_none(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    reply, status = answered(second_look.request("/proc", [b"version"], NONCE))
    (look,) = second_look.parse(reply, status, nonce=NONCE, root="/proc", paths=[b"version"])
    assert look.birth_ns is None


def test_nothing_asked_is_nothing_looked_at(tmp_path: Path) -> None:
    assert looked(tmp_path, []) == ()


def test_too_many_paths_are_refused() -> None:
    with pytest.raises(CollectionError):
        list(second_look.batches("/r", [b"x"] * (second_look.MOST_PATHS + 1)))


@given(st.lists(st.one_of(st.binary(min_size=1, max_size=4000), st.just(b"'" * 4000)), max_size=60))
def test_batches_keep_every_path_in_order_and_fit_one_word_of_a_command_line(paths: list[bytes]) -> None:
    clean = [path.replace(b"\0", b"_") for path in paths]
    cut = list(second_look.batches("/r", clean))
    assert [path for batch in cut for path in batch] == clean
    for batch in cut:
        # MAX_ARG_STRLEN of Linux: 32 pages of 4 KiB
        assert len(second_look.request("/r", batch, NONCE).line) <= LONGEST < 131_072
