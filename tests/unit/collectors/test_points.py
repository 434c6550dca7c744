"""Recovery points out of names of folders."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from coverage_audit.collectors.asking_points import zone_of
from coverage_audit.collectors.readers import points
from coverage_audit.collectors.stamps.local_time import Zone
from coverage_audit.collectors.transport import TransportError
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Address, Device, DeviceId, SiteId, VolumeId, VolumeKey
from coverage_audit.evidence.facts import GapKind, PointList
from tests.builders.shell_reply import NONCE, answered

NOW = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
DUBLIN = Zone(zone=ZoneInfo("Europe/Dublin"), source="declared for the device")
NAIVE = "%Y-%m-%dT%H%M%S"


def listed(
    folder: Path,
    pattern: str | None = NAIVE,
    *,
    path: str = "{point}/recordings",
    zone: Zone = DUBLIN,
    at: datetime = NOW,
) -> PointList:
    address = Address(volume=VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool")), path=path)
    reply, status = answered(points.request(f"{folder}/{path}", NONCE), before=b"last login: yesterday\n")
    found = points.listing(reply, status, nonce=NONCE, path=f"{folder}/{path}")
    return points.of_folders(found, address=address, pattern=pattern, zone=zone, at=at)


def make(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).mkdir(parents=True)
    return folder


def names(found: PointList) -> list[str]:
    return [point.name for point in found.points]


def reasons(found: PointList) -> dict[str, str]:
    return dict(found.refused)


def test_points_are_listed_oldest_first_and_say_the_zone_that_was_assumed(tmp_path: Path) -> None:
    found = listed(make(tmp_path, "2026-11-24T030000", "2026-07-01T030000"))
    assert names(found) == ["2026-07-01T030000", "2026-11-24T030000"]
    assert found.points[0].earliest == found.points[0].latest == datetime(2026, 7, 1, 2, tzinfo=UTC)
    assert found.points[1].earliest == datetime(2026, 11, 24, 3, tzinfo=UTC)
    assert found.points[0].assumed_zone == "Europe/Dublin, declared for the device"


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("%Y-%m-%dT%H%M%SZ", "2026-07-01T030000Z"),
        ("%Y-%m-%d %H.%M UTC", "2026-07-01 03.00 UTC"),
        ("@GMT-%Y.%m.%d-%H.%M.%S", "@GMT-2026.07.01-03.00.00"),
        ("%Y%m%d-%H%M%S%z", "20260701-040000+0100"),
        ("%Y%m%d-%H%M %Z", "20260701-0300 GMT"),
    ],
)
def test_a_name_that_says_its_zone_assumes_none(tmp_path: Path, pattern: str, name: str) -> None:
    # ISO 8601: Z is UTC; the @GMT- token is UTC by convention (SMB previous versions, MS-SMB2 2.2.5 "@GMT token")
    (point,) = listed(make(tmp_path, name), pattern).points
    assert point.earliest == point.latest == datetime(2026, 7, 1, 3, tzinfo=UTC)
    assert point.assumed_zone is None


def test_a_letter_z_elsewhere_is_no_zone(tmp_path: Path) -> None:
    (point,) = listed(make(tmp_path, "Z2026-07-01T0300"), "Z%Y-%m-%dT%H%M").points
    assert point.earliest == datetime(2026, 7, 1, 2, tzinfo=UTC)


def test_a_local_name_of_a_summer_zone_cannot_be_read_as_utc_by_its_word(tmp_path: Path) -> None:
    found = listed(make(tmp_path, "20260701-0300 IST"), "%Y%m%d-%H%M %Z")
    assert not found.points


def test_the_repeated_hour_leaves_two_instants_open(tmp_path: Path) -> None:
    # Europe/Dublin went back at 2026-10-25T01:00Z (tz database)
    (point,) = listed(make(tmp_path, "2026-10-25T013000")).points
    assert (point.earliest, point.latest) == (
        datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
        datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
    )


def test_a_local_time_that_never_was_is_refused(tmp_path: Path) -> None:
    # Europe/Dublin went forward at 2026-03-29T01:00Z (tz database)
    found = listed(make(tmp_path, "2026-03-29T013000"))
    assert not found.points
    assert "no such local time" in reasons(found)["2026-03-29T013000"]


def test_a_day_without_midnight_still_has_its_point(tmp_path: Path) -> None:
    # Africa/Cairo went forward at midnight of 2026-04-24 (tz database)
    (point,) = listed(make(tmp_path, "2026-04-24"), "%Y-%m-%d", zone=Zone(zone=ZoneInfo("Africa/Cairo"))).points
    assert point.earliest == datetime(2026, 4, 23, 22, tzinfo=UTC)


def test_a_date_alone_leaves_its_day_open_from_its_start(tmp_path: Path) -> None:
    (point,) = listed(make(tmp_path, "2026-11-24"), "%Y-%m-%d").points
    assert point.earliest == datetime(2026, 11, 24, tzinfo=UTC)
    assert point.latest == datetime(2026, 11, 25, tzinfo=UTC)


def test_a_point_in_the_future_is_refused(tmp_path: Path) -> None:
    found = listed(make(tmp_path, "2026-11-25T041001", "2026-11-25T041000"))
    assert names(found) == ["2026-11-25T041000"]
    assert "future" in reasons(found)["2026-11-25T041001"]


def test_an_ambiguous_point_never_reaches_beyond_the_moment_it_was_seen(tmp_path: Path) -> None:
    at = datetime(2026, 10, 25, 0, 45, tzinfo=UTC)
    (point,) = listed(make(tmp_path, "2026-10-25T013000"), at=at).points
    assert point.latest == at


def test_two_names_for_one_instant_are_one_point(tmp_path: Path) -> None:
    found = listed(make(tmp_path, "20261101-0300+0000", "20261101-0400+0100"), "%Y%m%d-%H%M%z")
    assert names(found) == ["20261101-0300+0000"]
    assert "same instant" in reasons(found)["20261101-0400+0100"]


def test_what_is_no_point_is_kept_with_the_reason(tmp_path: Path) -> None:
    make(
        tmp_path,
        "latest",
        "2026-11-24T030000.partial",
        "lost+found",
        "\uff12\uff10\uff12\uff16-11-24T030000",
        ".hidden",
        "status",
    )
    (tmp_path / "2026-11-20T030000").write_text("a file")
    (tmp_path / "2026-11-21T030000").symlink_to("2026-11-24T030000")
    (tmp_path / "bad\nname").mkdir()
    Path(str(tmp_path) + "/\udcff").mkdir()
    found = listed(tmp_path)
    assert not found.points
    assert reasons(found)["2026-11-20T030000"] == "it is no folder"
    assert reasons(found)["2026-11-21T030000"] == "it is no folder"
    assert "digits" in reasons(found)["\uff12\uff10\uff12\uff16-11-24T030000"]
    assert {r"bad\nname", r"\xff", "latest", ".hidden", "status"} <= set(reasons(found))


def test_the_point_may_be_a_part_of_a_name(tmp_path: Path) -> None:
    make(tmp_path, "backup-2026-11-24.d", "2026-11-24", "backup-.d", "backup-2026-11-23")
    found = listed(tmp_path, "%Y-%m-%d", path="backup-{point}.d/recordings")
    assert names(found) == ["2026-11-24"]
    assert reasons(found)["2026-11-24"] == "it is not named backup-{point}.d"


def test_no_zone_at_all_refuses_names_without_one(tmp_path: Path) -> None:
    found = listed(make(tmp_path, "2026-11-24T030000"), zone=Zone(zone=None))
    assert not found.points
    assert "no time zone" in reasons(found)["2026-11-24T030000"]


def test_a_pattern_without_a_year_makes_no_points(tmp_path: Path) -> None:
    found = listed(make(tmp_path, "11-24"), "%m-%d")
    assert "no year" in reasons(found)["11-24"]


def test_an_empty_folder_has_no_points_and_that_is_an_answer(tmp_path: Path) -> None:
    assert listed(tmp_path).points == ()


def test_a_folder_that_is_not_there_is_missing(tmp_path: Path) -> None:
    with pytest.raises(TransportError) as refused:
        listed(tmp_path / "gone")
    assert refused.value.kind is GapKind.MISSING


def test_a_listing_that_find_did_not_end_well_is_no_answer(tmp_path: Path) -> None:
    reply, status = answered(points.request(f"{make(tmp_path, '2026-11-24T030000')}/{{point}}", NONCE))
    spoilt = reply.replace(b"status\0ok\0others", b"status\0find: Input/output error\0others")
    assert spoilt != reply
    with pytest.raises(TransportError) as refused:
        points.listing(spoilt, status, nonce=NONCE, path=f"{tmp_path}/{{point}}")
    assert refused.value.kind is GapKind.UNREADABLE


def a_device(zone: ZoneInfo | None) -> Device:
    return Device(id=DeviceId("heron"), site=SiteId("station"), access=LocalAccess(), volumes=(), time_zone=zone)


def test_the_declared_zone_goes_before_the_shown_one_and_that_before_the_estate() -> None:
    tokyo, dublin = ZoneInfo("Asia/Tokyo"), ZoneInfo("Europe/Dublin")
    assert zone_of(a_device(tokyo), "Europe/Dublin", dublin).words == "Asia/Tokyo, declared for the device"
    assert zone_of(a_device(None), "Asia/Tokyo", dublin).words == "Asia/Tokyo, shown by the device"
    assert zone_of(a_device(None), None, dublin).words == "Europe/Dublin, the estate's"
    assert zone_of(a_device(None), "No/Where", dublin).words == "Europe/Dublin, the estate's"
    assert zone_of(a_device(None), None, None).zone is None


def test_the_order_is_the_same_whatever_the_order_of_the_names(tmp_path: Path) -> None:
    days = [(datetime(2026, 11, 1, 3) + timedelta(days=day)).strftime(NAIVE) for day in range(20)]  # noqa: DTZ001 - a local name
    assert names(listed(make(tmp_path, *reversed(days)))) == days
