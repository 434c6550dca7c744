"""Dumps that hold nothing but an error message, by their first line."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.collectors.first_words import LARGEST, complaint, complaints
from coverage_audit.collectors.replies import Reply
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.facts import GapKind
from tests.builders.shell_reply import answered

THEN = datetime(2026, 11, 26, 2, tzinfo=UTC).timestamp()


def put(request: Request) -> Reply:
    text, status = answered(request)
    return Reply(text=text, exit_status=status)


def written(folder: Path, name: bytes, content: bytes, *, age: int = 0) -> SecondLook:
    file = os.fsencode(folder) + b"/" + name
    with open(file, "wb") as open_file:  # noqa: PTH123 - a name of bytes
        open_file.write(content)
    os.utime(file, (THEN - age, THEN - age))
    seen = os.stat(file)  # noqa: PTH116
    return SecondLook(path=name, size=seen.st_size, mtime_ns=seen.st_mtime_ns, ctime_ns=seen.st_ctime_ns, birth_ns=None)


@pytest.mark.parametrize(
    "text",
    [
        # As the programs print them (written from memory; how they word it is common practice, no published source).
        b'pg_dump: error: connection to server at "db" (10.0.0.4), port 5432 failed: Connection refused\n',
        b"mysqldump: Got error: 1045: Access denied for user 'station'@'localhost' when trying to connect\n",
        b"sh: 1: pg_dump: not found\n",
        b"tar: /srv/sheets: Cannot open: Permission denied\n",
        b'Error: unable to open database "/srv/x.db": unable to open database file\n',
        b"ERROR 2002 (HY000): Can't connect to local server\n",
        b'Traceback (most recent call last):\n  File "dump.py", line 3\n',
        b"\n\nssh: connect to host heron port 22: No route to host, connection timed out\n",
        b"usage: dump [-h] FILE\n",
    ],
)
def test_what_programs_complain_of_is_no_dump(text: bytes) -> None:
    assert complaint(text)


@pytest.mark.parametrize(
    "text",
    [
        b"-- PostgreSQL database dump\n-- error: none\n",
        b"\x1f\x8b\x08\x00error: \n",
        b"time;place;error\n2026-11-25;mast;failed: none\n",
        b"PRAGMA foreign_keys=OFF;\nBEGIN TRANSACTION;\n",
        b'{"error": null}\n',
        b"errors_seen\n12\n",
        b"SQLite format 3\x00\x10\x00",
        b"mast: wind 4, nothing unusual\n",
        b"",
    ],
)
def test_what_begins_otherwise_is_one_for_all_that_is_known(text: bytes) -> None:
    assert complaint(text) == ""


def test_the_first_line_is_shown_cut_and_harmless() -> None:
    said = complaint(b"dump\x1b[2J: error\n")
    assert said == ""  # a name of a program holds no such bytes
    long = complaint(b"dump: error: \x1b[2J" + 200 * b"x")
    assert "\x1b" not in long
    assert len(long) == 81


def test_the_small_ones_of_the_newest_are_read_through_the_gate(tmp_path: Path) -> None:
    bad = b"pg_dump: error: no such database\n"
    looks = [
        written(tmp_path, b"a \xff\n.sql", bad, age=50),
        written(tmp_path, b"good.sql", b"-- dump\n", age=40),
        written(tmp_path, b"large.sql", bad + bytes(LARGEST), age=30),
        written(tmp_path, b"empty.sql", b"", age=20),
        written(tmp_path, b"old.sql", bad, age=9000),
        *(written(tmp_path, b"%d.sql" % number, b"-- dump\n", age=number) for number in range(6)),
    ]

    found = complaints(str(tmp_path), looks, put)

    assert found == {b"a \xff\n.sql": "pg_dump: error: no such database"}


def test_a_file_that_changed_since_it_was_looked_at_says_nothing(tmp_path: Path) -> None:
    look = written(tmp_path, b"a.sql", b"pg_dump: error: x\n")
    (tmp_path / "a.sql").write_bytes(b"-- dump of the night\n")
    assert complaints(str(tmp_path), [look], put) == {}


def test_a_box_that_sends_no_content_is_not_asked_again(tmp_path: Path) -> None:
    look = written(tmp_path, b"a.sql", b"pg_dump: error: x\n")

    def refuse(_request: Request) -> Reply:
        raise TransportError(GapKind.REFUSED, "gate.conf allows no content to be sent")

    assert complaints(str(tmp_path), [look], refuse) == {}


def test_a_connection_that_is_cut_is_no_answer(tmp_path: Path) -> None:
    look = written(tmp_path, b"a.sql", b"pg_dump: error: x\n")
    with pytest.raises(TransportError):
        complaints(str(tmp_path), [look], lambda request: Reply(text=put(request).text[:-3], exit_status=None))
