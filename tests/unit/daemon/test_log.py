"""JOURNAL_STREAM and INVOCATION_ID: systemd.exec(5), "Environment Variables Set or Propagated"."""

from __future__ import annotations

import io
import json
import logging
import math
import os
import pty
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.daemon.log import Log, open_log


def lines(stream: io.StringIO) -> list[str]:
    return stream.getvalue().splitlines()


def entry(stream: io.StringIO) -> dict[str, Any]:
    (line,) = lines(stream)
    found: dict[str, Any] = json.loads(line)
    return found


@pytest.fixture
def own_logging() -> Iterator[None]:
    """Logging as it was before, after the test."""
    root = logging.getLogger()
    kept = list(root.handlers), root.level
    yield
    root.handlers, root.level = kept[0], kept[1]
    for name in ("urllib3", "requests", "apprise", "paramiko"):
        logging.getLogger(name).handlers = []
        logging.getLogger(name).propagate = True


def test_an_event_is_one_line_of_json_with_its_time_in_utc() -> None:
    stream = io.StringIO()
    Log(stream, as_json=True)("night ended", night="2026-11-27", missed=2, seconds=1.5, detail=None)
    said = entry(stream)
    assert said.pop("time").endswith("+00:00")
    assert said == {
        "level": "info",
        "event": "night ended",
        "night": "2026-11-27",
        "missed": 2,
        "seconds": 1.5,
        "detail": None,
    }


def test_an_event_is_one_line_of_text_for_people() -> None:
    stream = io.StringIO()
    log = Log(stream, as_json=False)
    log("night ended", night="2026-11-27", why="no room left", detail=None)
    log.trouble("the call was not taken", tries=3)
    first, second = (line.split(" ", 2) for line in lines(stream))
    assert datetime.fromisoformat(f"{first[0]} {first[1]}").tzinfo is not None
    assert first[2] == 'night ended night=2026-11-27 why="no room left"'
    assert second[2] == "! the call was not taken tries=3"


@pytest.mark.parametrize("as_json", [True, False])
def test_hostile_values_stay_on_their_line_and_do_nothing_to_a_terminal(*, as_json: bool) -> None:
    stream = io.StringIO()
    hostile = "a\nforged event=x\x1b[2J\u202e" + os.fsdecode(b"\xff") + '" }'
    Log(stream, as_json=as_json)("seen", name=hostile)
    (line,) = lines(stream)
    assert line.isprintable()
    assert r"\n" in line
    if as_json:
        assert entry(stream)["name"] == r'a\nforged event=x\x1b[2J\u{202E}\xff" }'


def test_a_field_cannot_pass_for_the_event_itself() -> None:
    stream = io.StringIO()
    Log(stream, as_json=True)("called", event="4f2a", level="low", time="never")
    said = entry(stream)
    assert (said["event"], said["level"]) == ("called", "info")
    assert (said["event_"], said["level_"], said["time_"]) == ("4f2a", "low", "never")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_figure_that_json_cannot_hold_is_written_as_a_word(value: float) -> None:
    stream = io.StringIO()
    Log(stream, as_json=True)("measured", figure=value)
    assert entry(stream)["figure"] == str(value)


def test_a_log_that_cannot_be_written_raises_nothing() -> None:
    full = Path("/dev/full").open("w", encoding="utf-8")  # noqa: SIM115 - closing it fails: see below
    log = Log(full, as_json=True)
    log("lost")
    log("lost as well")
    with pytest.raises(OSError, match="No space left"):
        full.close()


def test_json_is_written_where_the_manager_reads_the_stream_and_text_elsewhere(tmp_path: Path) -> None:
    with (tmp_path / "journal").open("w+", encoding="utf-8") as stream:
        behind = os.fstat(stream.fileno())
        name = f"{behind.st_dev}:{behind.st_ino}"
        for environment in ({"JOURNAL_STREAM": name}, {"INVOCATION_ID": "0" * 32}, {"JOURNAL_STREAM": "1:2"}, {}):
            open_log(environment, stream)("started")
        stream.seek(0)
        assert [line.startswith("{") for line in stream] == [True, True, False, False]


def test_a_terminal_gets_text_though_its_shell_was_started_by_a_service() -> None:
    here, there = pty.openpty()
    with os.fdopen(there, "w", encoding="utf-8") as terminal:
        open_log({"INVOCATION_ID": "0" * 32}, terminal)("started")
        said = os.read(here, 1000)
    os.close(here)
    assert b"started" in said
    assert not said.startswith(b"{")


def test_what_is_asked_for_overrules_the_surroundings() -> None:
    stream = io.StringIO()
    open_log({}, stream, as_json=True)("started")
    assert entry(stream)["event"] == "started"


@pytest.mark.usefixtures("own_logging")
def test_libraries_are_heard_save_those_that_repeat_addresses() -> None:
    stream = io.StringIO()
    Log(stream, as_json=True).hear_libraries()
    logging.getLogger("apscheduler.executors.default").info("running job")
    fault = ZeroDivisionError("/srv/secret\n")
    logging.getLogger("apscheduler.executors.default").error("Job raised\nan exception", exc_info=fault)
    logging.getLogger("urllib3.connectionpool").warning("Retrying: https://ping.example/pa55")
    said = entry(stream)
    assert said["event"] == r"Job raised\nan exception"
    assert (said["level"], said["library"], said["exception"]) == (
        "error",
        "apscheduler.executors.default",
        "ZeroDivisionError",
    )
