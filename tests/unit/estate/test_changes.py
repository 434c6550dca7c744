from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.changes import ChangeKind, accepted, capacity_changes, diff, in_one_line, said
from coverage_audit.estate.model import Copy, DatasetId, DeviceId, Estate
from tests.builders.station import (
    CURLEW,
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    a_device,
    a_key,
    a_volume,
    an_address,
    an_estate,
)

BEFORE = an_estate()
BITTERN = replace(a_device("bittern", a_volume("bittern:pool")), access=HERON.access, formerly=(DeviceId("heron"),))
RENAMED = replace(RECORDINGS, copies=(Copy(address=an_address("bittern:pool/mirror/recordings")), RECORDINGS.copies[1]))


def changed(now: Estate, before: Estate = BEFORE) -> list[str]:
    return [said(change) for change in diff(before, now)]


def with_dataset(**values: object) -> Estate:
    return replace(BEFORE, datasets=(replace(RECORDINGS, **values),))  # type: ignore[arg-type]  # a dataset's own


def test_an_estate_that_is_as_it_was_did_not_change() -> None:
    assert changed(BEFORE) == []


def test_a_renamed_device_is_one_change_and_none_of_what_lies_on_it() -> None:
    now = an_estate(KESTREL, BITTERN, CURLEW, datasets=(RENAMED,))
    assert changed(now) == ["device heron is called bittern now"]


def test_a_former_name_that_stays_declared_is_no_news_the_second_time() -> None:
    now = an_estate(KESTREL, BITTERN, CURLEW, datasets=(RENAMED,))
    assert changed(now, now) == []


def test_a_device_renamed_without_saying_so_came_and_went_with_a_hint() -> None:
    now = an_estate(KESTREL, replace(BITTERN, formerly=()), CURLEW, datasets=(RENAMED,))
    said_of = changed(now)
    assert "device bittern was declared: it lies where heron lay" in said_of[0]
    assert "`formerly`" in said_of[0]
    assert {"device heron left the estate", "volume heron:pool left the estate"} <= set(said_of)
    assert any("if it is what lay at field-recordings@heron:pool/mirror/recordings" in one for one in said_of)


def test_a_renamed_dataset_is_one_change() -> None:
    assert changed(with_dataset(id=DatasetId("tapes"), formerly=(RECORDINGS.id,))) == [
        "dataset field-recordings is called tapes now"
    ]


def test_a_dataset_renamed_without_saying_so_is_said_with_what_to_declare() -> None:
    first, *_ = changed(with_dataset(id=DatasetId("tapes")))
    assert first.startswith("dataset tapes was declared: it lies where field-recordings lay: if it is the same, say so")


def test_an_original_and_a_copy_that_moved_are_said() -> None:
    near = Copy(address=an_address("curlew:store/near"), moved_from=(RECORDINGS.copies[0].address,))
    now = with_dataset(
        original=an_address("kestrel:main/tapes"),
        moved_from=(RECORDINGS.original,),
        copies=(near, RECORDINGS.copies[1]),
    )
    assert changed(now) == [
        "dataset field-recordings moved from kestrel:main/recordings to kestrel:main/tapes",
        "copy field-recordings@curlew:store/near moved from heron:pool/mirror/recordings to curlew:store/near",
    ]


def test_a_policy_that_asks_for_less_is_said() -> None:
    lax = replace(POLICY, copies=2, max_age=timedelta(days=40))
    assert changed(replace(BEFORE, policies=(lax,))) == [
        "policy irreplaceable is declared otherwise: copies 3, now 2, max_age 26 h, now 40 days"
    ]


def test_what_is_left_out_is_said_for_the_estate_a_dataset_and_a_copy() -> None:
    near = replace(RECORDINGS.copies[0], leave_out=("*.bak",))
    now = replace(with_dataset(leave_out=("*.tmp",), copies=(near, RECORDINGS.copies[1])), litter=("Thumbs.db",))
    assert in_one_line(diff(BEFORE, now)) == (
        "the estate is declared otherwise: litter none, now Thumbs.db; "
        "dataset field-recordings is declared otherwise: leave_out none, now *.tmp; "
        "copy field-recordings@heron:pool/mirror/recordings is declared otherwise: leave_out none, now *.bak"
    )


def test_a_volume_of_another_medium_or_no_longer_offline_is_said() -> None:
    heron = replace(HERON, volumes=(a_volume("heron:pool", offline=True),))
    assert changed(BEFORE, an_estate(KESTREL, heron, CURLEW)) == [
        "volume heron:pool is declared otherwise: offline yes, now none"
    ]


@pytest.mark.parametrize(
    ("before", "now", "told"), [(100, 106, 1), (100, 94, 1), (100, 104, 0), (None, 9, 0), (9, None, 0)]
)
def test_a_capacity_is_said_where_it_moved_by_more_than_pools_do(
    before: int | None, now: int | None, told: int
) -> None:
    pool = a_key("heron:pool")
    assert len(capacity_changes({pool: before}, {pool: now})) == told


def test_an_acceptance_says_what_was_there_and_who_took_its_place() -> None:
    change = accepted("heron:pool", [("filesystem UUID", "6c2e")], [("filesystem UUID", "77aa")], "maria")
    assert change.kind is ChangeKind.SWAPPED
    assert said(change) == "volume heron:pool was swapped (accepted by maria): filesystem UUID 6c2e, now 77aa"
    assert accepted("heron:pool", [], [("filesystem UUID", "77aa")], "maria").kind is ChangeKind.ACCEPTED
