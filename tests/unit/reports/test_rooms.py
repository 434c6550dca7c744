"""The room of volumes: figures as they were observed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.ledger.past_record import LookBack, VolumeDay
from coverage_audit.reports.days import span_of
from coverage_audit.reports.rooms import RoomView, fullest_first, rooms_view
from tests.builders.judged import NOW, an_estate, key
from tests.builders.past_days import an_audit

TB = 10**12
KESTREL = key("kestrel")


def room(ago: int, free: int | None, capacity: int | None = 8 * TB, volume: VolumeKey = KESTREL) -> VolumeDay:
    return VolumeDay(volume=volume, at=NOW - timedelta(days=ago), capacity=capacity, free=free)


def seen(*days: VolumeDay, now: datetime = NOW) -> dict[str, RoomView]:
    back = LookBack(since=now - timedelta(days=365), until=now, audits=(an_audit(now),), volumes=days)
    return {str(view.volume): view for view in rooms_view(back, an_estate(), span_of(back, an_estate(), now))}


def kestrel(*days: VolumeDay) -> RoomView:
    return seen(*days)["kestrel:main"]


def test_what_is_free_and_how_that_changed_is_said_plainly() -> None:
    found = kestrel(room(90, 2 * TB), room(60, 3 * TB), room(30, TB // 2), room(0, TB))
    assert (found.free, found.capacity, found.share) == ("1.0 TB", "8.0 TB", 12)
    assert found.changes == ("500 GB more", "1.0 TB less")
    assert found.as_of is None


def test_of_a_day_without_an_audit_the_one_before_stands_and_no_older_one() -> None:
    assert kestrel(room(34, 2 * TB), room(0, TB)).changes == ("1.0 TB less", "not known")
    assert kestrel(room(45, 2 * TB), room(0, TB)).changes == ("not known", "not known")
    assert kestrel(room(20, 2 * TB), room(0, TB)).changes == ("not known", "not known")
    assert kestrel(room(30, TB), room(0, TB)).changes[0] == "as it was"


def test_a_volume_that_was_another_size_did_not_gain_room() -> None:
    found = kestrel(room(30, TB, 4 * TB), room(0, 5 * TB))
    assert found.changes[0] == "was 1.0 TB free of 4.0 TB"


def test_what_was_not_shown_is_not_shown() -> None:
    found = kestrel(room(30, None), room(0, TB, None))
    assert (found.free, found.share, found.changes) == (None, None, ())
    assert fullest_first(tuple(seen(room(30, None)).values())) == ()


def test_a_volume_not_seen_in_the_last_audit_says_when_it_was() -> None:
    assert kestrel(room(4, TB)).as_of == (NOW - timedelta(days=4)).date()


def test_the_fullest_stand_first() -> None:
    views = seen(room(0, 4 * TB), room(0, TB, volume=key("heron")), room(0, 2 * TB, 3 * TB, volume=key("curlew")))
    assert [str(view.volume) for view in fullest_first(tuple(views.values()))] == [
        "heron:pool",
        "kestrel:main",
        "curlew:store",
    ]


@pytest.mark.parametrize("former", ["bittern", "kestrel"])
def test_a_box_that_had_another_name_keeps_its_history(former: str) -> None:
    estate = an_estate()
    devices = tuple(
        replace(one, formerly=(DeviceId("bittern"),)) if one.id == "kestrel" else one for one in estate.devices
    )
    old = replace(key("kestrel"), device=DeviceId(former))
    back = LookBack(since=NOW - timedelta(days=365), until=NOW, volumes=(room(30, 2 * TB, volume=old), room(0, TB)))
    (found, *_) = rooms_view(back, replace(estate, devices=devices), span_of(back, estate, NOW))
    assert found.changes[0] == "1.0 TB less"
