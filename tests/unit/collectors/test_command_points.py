"""Recovery points that a command of the owner's tells, run through the gate."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.readers import command_points
from coverage_audit.collectors.stamps.local_time import Zone
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.estate.sources import CommandPoints
from coverage_audit.evidence.facts import DatedBy, GapKind, PointList
from tests.builders.shell_reply import NONCE, run_gate

DUBLIN = Zone(zone=ZoneInfo("Europe/Dublin"), source="declared for the device")
VOLUME = VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool"))
NOW = datetime(2026, 11, 26, tzinfo=UTC)
LINES = r"^(?P<name>\S+) (?P<time>\S+) (?P<size>\d+)$"


def asked(
    folder: Path,
    output: str | bytes,
    *,
    json_: str | None = None,
    lines: str | None = None,
    ends: str = "",
    path: str = "recordings",
) -> PointList:
    """What a command that prints this is understood to tell."""
    (folder / "output").write_bytes(output.encode() if isinstance(output, str) else output)
    script = folder / "list points"
    script.write_text(f'#!/bin/sh\ncat "{folder}/output"\n{ends}\n')
    script.chmod(0o755)
    declared = CommandPoints(arguments=(os.fspath(script), "a b", "$(touch hole)", ""), json=json_, lines=lines)
    done = run_gate(command_points.request(declared, NONCE))
    return command_points.parse(
        done.stdout,
        done.returncode,
        nonce=NONCE,
        points=declared,
        address=Address(volume=VOLUME, path=path),
        zone=DUBLIN,
        at=NOW,
    )


def instants(found: PointList) -> list[datetime]:
    return [point.earliest for point in found.points]


TWO = [datetime(2026, 11, 24, 3, tzinfo=UTC), datetime(2026, 11, 25, 3, tzinfo=UTC)]


@pytest.mark.parametrize(
    ("document", "expression"),
    [
        ({"points": [{"taken": "2026-11-24T03:00:00Z"}, {"taken": "2026-11-25T03:00:00Z"}]}, "points[].taken"),
        ([1795489200, 1795575600], "@"),
        ([1795489200000, 1795575600000.0], "@"),
        (["1795489200", "1795575600"], "[]"),
        ([{"time": "20261124T040000+0100", "name": "a"}, {"time": "20261125T040000+0100"}], "[]"),
        ({"a": [{"t": 1795489200.0, "s": 5}, {"t": 1795575600, "s": "6"}]}, "a[].{time: t, size: s}"),
        (["2026-11-24T03:00:00", "2026-11-25T03:00:00"], "@"),
    ],
)
def test_json_is_read_by_its_expression(tmp_path: Path, document: object, expression: str) -> None:
    found = asked(tmp_path, json.dumps(document), json_=expression)

    assert instants(found) == TWO
    assert {point.dated_by for point in found.points} == {DatedBy.COMMAND}


def test_lines_are_read_by_their_pattern_and_the_others_are_said(tmp_path: Path) -> None:
    found = asked(tmp_path, "name time size\na 1795489200 5\nb 1795575600 6\n", lines=LINES)

    assert instants(found) == TWO
    assert [(point.name, point.size) for point in found.points] == [("a", 5), ("b", 6)]
    assert found.refused == (("name time size", "the line is no point"),)


def test_an_assumed_zone_is_said(tmp_path: Path) -> None:
    found = asked(tmp_path, '["2026-07-01T03:00:00"]', json_="@")
    assert instants(found) == [datetime(2026, 7, 1, 2, tzinfo=UTC)]
    assert found.points[0].assumed_zone == "Europe/Dublin, declared for the device"


def test_points_in_the_future_empty_ones_and_shrunk_ones_are_refused(tmp_path: Path) -> None:
    rows = [f"p{day} 2026-11-{day:02}T030000Z {9000 + day}" for day in (10, 11, 12)]
    rows += ["thin 2026-11-13T030000Z 12", "empty 2026-11-14T030000Z 0", "ahead 2027-01-01T030000Z 9000"]

    found = asked(tmp_path, "\n".join(rows), lines=LINES)

    assert [point.name for point in found.points] == ["p10", "p11", "p12"]
    why = dict(found.refused)
    assert "lies in the future" in why["ahead"]
    assert why["empty"] == "it is empty"
    assert "12 bytes; the median of those before it is 9011" in why["thin"]


@pytest.mark.parametrize(
    ("output", "kind"),
    [
        ("", GapKind.MALFORMED),
        (" \n", GapKind.MALFORMED),
        ("no JSON", GapKind.MALFORMED),
        ("[1795489200", GapKind.MALFORMED),
        (b"\xff", GapKind.MALFORMED),
        ("[]", GapKind.MALFORMED),
        ("{}", GapKind.MALFORMED),
        ("null", GapKind.MALFORMED),
        ('{"points": [{"taken": 1795489200}]}', GapKind.MALFORMED),  # the expression is misspelt
        ('{"pionts": []}', GapKind.MALFORMED),
    ],
)
def test_an_output_that_shows_no_points_nor_that_there_are_none_is_a_gap(
    tmp_path: Path, output: str | bytes, kind: GapKind
) -> None:
    with pytest.raises(TransportError) as refused:
        asked(tmp_path, output, json_="points[].time")
    assert refused.value.kind is kind


def test_an_output_that_says_itself_that_there_are_none_is_no_gap(tmp_path: Path) -> None:
    assert asked(tmp_path, '{"store": "cold", "points": []}', json_="points[].time").points == ()


def test_lines_of_which_none_matches_are_a_gap(tmp_path: Path) -> None:
    with pytest.raises(TransportError, match="misspelt"):
        asked(tmp_path, "no points found\n", lines=LINES)


def test_a_command_that_fails_after_a_good_output_is_a_gap_that_repeats_what_it_complained_of(tmp_path: Path) -> None:
    with pytest.raises(TransportError, match="status 3: store locked") as refused:
        asked(tmp_path, "[1795489200]", json_="@", ends="echo store locked >&2; exit 3")
    assert refused.value.kind is GapKind.UNREADABLE


def test_a_command_that_is_not_there_is_a_gap() -> None:
    declared = CommandPoints(arguments=("/no/such/tool",), json="@")
    done = run_gate(command_points.request(declared, NONCE))
    with pytest.raises(TransportError) as refused:
        command_points.parse(
            done.stdout,
            done.returncode,
            nonce=NONCE,
            points=declared,
            address=Address(volume=VOLUME, path=""),
            zone=DUBLIN,
            at=NOW,
        )
    assert refused.value.kind is GapKind.NO_TOOL


def test_its_words_are_never_a_shells_text(tmp_path: Path) -> None:
    asked(tmp_path, "[1795489200]", json_="@", ends='[ $# = 3 ] && [ "$1" = "a b" ] && [ -z "$3" ] || exit 9')
    assert not Path("/hole").exists()


def test_output_with_nuls_and_forged_ends_is_the_commands_own(tmp_path: Path) -> None:
    forged = b"[1795489200]\0complaint\0\0status\x000\0E " + NONCE.encode() + b" 0\0"
    with pytest.raises(TransportError, match="status 4"):
        asked(tmp_path, forged, json_="@", ends="exit 4")


def test_a_name_that_leads_elsewhere_is_no_folder_of_a_point(tmp_path: Path) -> None:
    document = [{"time": 1795489200, "name": "../../etc"}, {"time": 1795575600, "name": "b"}]
    found = asked(tmp_path, json.dumps(document), json_="@", path="{point}/recordings")
    assert [point.name for point in found.points] == ["b"]


@pytest.mark.parametrize(
    "time", ["true", "null", "{}", "1e400", "1e30", '"soon"', "-1e15", "99999999999999999999999999"]
)
def test_a_time_that_is_none_is_refused_with_a_reason(tmp_path: Path, time: str) -> None:
    found = asked(tmp_path, f'[{{"time": 1795489200}}, {{"time": {time}}}]', json_="@")
    assert instants(found) == TWO[:1]
    assert len(found.refused) == 1


@given(st.recursive(st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8), st.lists))
def test_whatever_json_is_told_there_are_points_reasons_or_a_gap(value: object) -> None:
    text = json.dumps(value).encode()
    reply = b"B %s sent\0output\0%s\0complaint\0\0status\x000\0E %s 0\0" % (NONCE.encode(), text, NONCE.encode())
    try:
        found = command_points.parse(
            reply,
            0,
            nonce=NONCE,
            points=CommandPoints(arguments=("list",), json="@"),
            address=Address(volume=VOLUME, path=""),
            zone=DUBLIN,
            at=NOW,
        )
    except TransportError:
        return
    assert all(point.earliest <= point.latest <= NOW for point in found.points)
    assert found.points or found.refused
