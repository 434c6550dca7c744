"""Writing a page."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from coverage_audit.errors import EX_CANTCREAT, ReportError
from coverage_audit.reports.writing import write_page


def test_a_page_is_written_whole_and_takes_the_place_of_the_last(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    write_page(file, "old")
    write_page(file, "new ✓")
    assert file.read_text(encoding="utf-8") == "new ✓"
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]


def test_who_may_read_it_is_left_to_the_umask(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_page(tmp_path / "page.html", "x")
    finally:
        os.umask(before)
    assert (tmp_path / "page.html").stat().st_mode & 0o777 == 0o640


def test_a_folder_that_is_not_there_is_said_with_its_exit_status(tmp_path: Path) -> None:
    with pytest.raises(ReportError, match="gone") as refused:
        write_page(tmp_path / "gone" / "page.html", "x")
    assert refused.value.exit_status == EX_CANTCREAT


def test_a_page_that_fails_leaves_the_last_one_and_no_part(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    write_page(file, "old")
    with pytest.raises(UnicodeEncodeError):
        write_page(file, "\udcff")
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]
    assert file.read_text(encoding="utf-8") == "old"


@pytest.mark.root
def test_a_full_disk_is_said_and_leaves_the_last_page(tmp_path: Path) -> None:
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "small", str(tmp_path)], check=True)
    try:
        write_page(tmp_path / "page.html", "old")
        with pytest.raises(ReportError, match="No space left"):
            write_page(tmp_path / "page.html", "x" * 1_000_000)
        assert [each.name for each in tmp_path.iterdir()] == ["page.html"]
        assert (tmp_path / "page.html").read_text(encoding="utf-8") == "old"
    finally:
        subprocess.run(["umount", str(tmp_path)], check=True)
