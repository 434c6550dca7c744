"""Recovery points that are single files: their names, sizes and times."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.collectors.asking_points import PointQuestion, points_of
from coverage_audit.collectors.replies import Reply
from coverage_audit.collectors.requests import Request
from coverage_audit.collectors.stamps.local_time import Zone
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.model import Address, Copy, DeviceId, VolumeId, VolumeKey
from coverage_audit.estate.sources import DatedFiles
from coverage_audit.evidence.facts import GapKind, PointList
from tests.builders.shell_reply import answered

NOW = datetime(2026, 11, 26, 4, 10, tzinfo=UTC)
DUBLIN = Zone(zone=ZoneInfo("Europe/Dublin"), source="declared for the device")
VOLUME = VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool"))


def put(request: Request) -> Reply:
    text, status = answered(request)
    return Reply(text=text, exit_status=status)


def listed(folder: Path, pattern: str | None = None, path: str = "{point}") -> PointList:
    copy = Copy(address=Address(volume=VOLUME, path=path), points=DatedFiles(pattern=pattern))
    return points_of(
        PointQuestion(copy=copy, path=f"{folder}/{path}", volume=str(folder), zone=DUBLIN, put=put, now=lambda: NOW)
    )


def dump(folder: Path, name: str, size: int = 5000, changed: datetime | None = None) -> None:
    file = folder / name
    file.write_bytes(bytes(size))
    moment = (changed or datetime(2026, 11, 26, 2, tzinfo=UTC)).timestamp()
    os.utime(file, (moment, moment))


def test_each_file_is_a_point_with_its_size(tmp_path: Path) -> None:
    for day in (23, 24, 25):
        dump(tmp_path, f"sheets-202611{day}T0300.sql.gz", 5000 + day)
    dump(tmp_path, "README")
    (tmp_path / "20261122T0300").mkdir()
    (tmp_path / "sheets-20261126T0300.sql.gz").symlink_to("sheets-20261125T0300.sql.gz")

    found = listed(tmp_path)

    assert [point.size for point in found.points] == [5023, 5024, 5025]
    assert found.points[-1].earliest == datetime(2026, 11, 25, 3, tzinfo=UTC)
    why = dict(found.refused)
    assert why["20261122T0300"] == why["sheets-20261126T0300.sql.gz"] == "it is no file"
    assert "no time in a usual spelling" in why["README"]


def test_a_declared_pattern_is_read_too(tmp_path: Path) -> None:
    dump(tmp_path, "sheets-2026-11-24.ods", 777)
    (point,) = listed(tmp_path, "%Y-%m-%d", "sheets-{point}.ods").points
    assert (point.name, point.size) == ("2026-11-24", 777)


def test_an_empty_file_and_one_far_smaller_than_those_before_it_are_refused(tmp_path: Path) -> None:
    for day, size in ((20, 9000), (21, 9500), (22, 899), (23, 8000), (24, 0), (25, 46)):
        dump(tmp_path, f"2026-11-{day}T030000Z.img", size)

    found = listed(tmp_path)

    assert [point.size for point in found.points] == [9000, 9500, 8000]
    assert dict(found.refused) == {
        "2026-11-22T030000Z.img": "it has 899 bytes; the median of those before it is 9250",
        "2026-11-24T030000Z.img": "it is empty",
        "2026-11-25T030000Z.img": "it has 46 bytes; the median of those before it is 9000",
    }


def test_what_shrank_once_is_not_the_measure_of_those_after_it(tmp_path: Path) -> None:
    dump(tmp_path, "2026-11-01T030000Z.img", 9000)
    for day in range(2, 20):
        dump(tmp_path, f"2026-11-{day:02}T030000Z.img", 46)
    assert len(listed(tmp_path).points) == 1


def test_a_file_that_is_being_written_is_not_whole_yet(tmp_path: Path) -> None:
    dump(tmp_path, "2026-11-25T030000Z.img")
    dump(tmp_path, "2026-11-26T030000Z.img", changed=NOW - timedelta(seconds=20))

    found = listed(tmp_path)

    assert [point.name for point in found.points] == ["2026-11-25T030000Z.img"]
    assert "a moment ago" in dict(found.refused)["2026-11-26T030000Z.img"]


def test_a_file_holds_nothing_newer_than_its_last_change(tmp_path: Path) -> None:
    old = datetime(2026, 10, 1, 3, tzinfo=UTC)
    dump(tmp_path, "2026-11-25T030000Z.img", changed=old)

    (point,) = listed(tmp_path).points

    assert point.earliest == point.latest == old
    assert "before the time that its name says" in point.doubts[0]


def test_a_time_that_no_file_can_bear_says_nothing(tmp_path: Path) -> None:
    dump(tmp_path, "2026-11-25T030000Z.img", changed=datetime(1970, 1, 1, tzinfo=UTC))
    (point,) = listed(tmp_path).points
    assert point.earliest == datetime(2026, 11, 25, 3, tzinfo=UTC)


def test_names_with_newlines_and_of_no_utf_8_are_told_apart(tmp_path: Path) -> None:
    dump(tmp_path, "2026-11-24T030000Z\n2026-11-24T030000Z")
    dump(tmp_path, "2026-11-25T030000Z\udcff")
    found = listed(tmp_path)
    assert [point.name for point in found.points] == ["2026-11-24T030000Z\n2026-11-24T030000Z"]
    assert dict(found.refused) == {r"2026-11-25T030000Z\xff": "its name is no UTF-8"}


def test_a_folder_that_is_not_there_is_missing(tmp_path: Path) -> None:
    with pytest.raises(TransportError) as refused:
        listed(tmp_path / "gone")
    assert refused.value.kind is GapKind.MISSING


def test_an_empty_folder_has_no_points_and_that_is_an_answer(tmp_path: Path) -> None:
    assert listed(tmp_path) == PointList(address=Address(volume=VOLUME, path="{point}"), at=NOW, points=())


def test_a_file_that_holds_an_error_message_is_no_point_however_large_the_others_are(tmp_path: Path) -> None:
    for day in (23, 24):
        dump(tmp_path, f"2026-11-{day}T030000Z.sql", 60)
    failed = tmp_path / "2026-11-25T030000Z.sql"
    failed.write_text("pg_dump: error: connection to server failed: Connection refused\n", encoding="ascii")
    moment = datetime(2026, 11, 26, 2, tzinfo=UTC).timestamp()
    os.utime(failed, (moment, moment))

    found = listed(tmp_path)

    assert len(found.points) == 2
    said = "it begins like an error message: “pg_dump: error: connection to server failed: Connection refused”"
    assert dict(found.refused) == {"2026-11-25T030000Z.sql": said}
    assert [point.doubts for point in found.thin] == [(said,)]
