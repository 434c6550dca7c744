"""An encrypted copy is one only if its key outlives the original: in words, and against all failures one by one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Device, DeviceId, Estate, Site, SiteId
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.verdict import Answer, Finding, Standing
from tests.builders.cases import a_case, a_copy, a_gap, a_place, an_original, judged, judged_dataset
from tests.builders.station import (
    CURLEW,
    HERON,
    KESTREL,
    POLICY,
    RECORDINGS,
    SITES,
    a_device,
    a_volume,
    an_address,
    an_estate,
)

NEAR, FAR = RECORDINGS.copies
SHELF = a_device("shelf-b", a_volume("shelf-b:drive"), site=SiteId("barn"), access=ShelfAccess())


def on_curlew(*keepers: str, **values: Any) -> DatasetCase:
    """A copy on curlew, in the barn, that is encrypted; the others are at the station."""
    return a_case(a_copy(HERON, NEAR), a_copy(CURLEW, replace(FAR, encrypted=True, key_kept=keepers)), **values)


def on_shelf(*keepers: str) -> tuple[DatasetCase, Device]:
    """A copy on a loose drive in the barn that is encrypted as a whole."""
    volume = replace(SHELF.volumes[0], encrypted=True, key_kept=keepers)
    drive = replace(SHELF, volumes=(volume,))
    place = a_place(drive, device_facts=a_gap("shelf-b"))
    return a_case(
        a_copy(HERON, NEAR), a_copy(drive, replace(FAR, address=an_address("shelf-b:drive")), place=place)
    ), drive


def found_in(case: DatasetCase, *devices: Device) -> Finding:
    dataset = judged_dataset(case, an_estate(KESTREL, HERON, CURLEW, *devices))
    (found,) = [f for f in dataset.findings if f.rule == "kept-keys"]
    return found


@pytest.mark.parametrize(
    "keepers", [("heron",), ("station",), ("kestrel",), ("kestrel", "station"), ("heron", "kestrel")]
)
def test_a_key_at_the_originals_site_is_lost_with_the_original(keepers: tuple[str, ...]) -> None:
    """The key of an encrypted copy lives only where the original does."""
    found = found_in(on_curlew(*keepers))

    assert found.answer is Answer.NONCONFORMITY
    assert "what takes kestrel:main/recordings by the loss of" in found.message
    assert "the copy that is left cannot be opened" in found.message


def test_the_narrowest_failure_is_named() -> None:
    assert "by the loss of kestrel takes the key, too" in found_in(on_curlew("kestrel")).message
    assert "by the loss of site=station takes the key, too" in found_in(on_curlew("heron")).message


@pytest.mark.parametrize("keepers", [("curlew",), ("barn",), ("curlew", "barn")])
def test_a_key_that_is_lost_with_what_it_opens_is_a_finding(keepers: tuple[str, ...]) -> None:
    found = found_in(on_curlew(*keepers))

    assert found.answer is Answer.NONCONFORMITY
    assert "it is lost with what it opens, by the loss of" in found.message


@pytest.mark.parametrize("keepers", [("barn", "station"), ("curlew", "kestrel"), ("heron", "barn")])
def test_keys_at_two_sites_are_left_whatever_takes_the_original(keepers: tuple[str, ...]) -> None:
    found = found_in(on_curlew(*keepers))

    assert found.answer is Answer.CONFORMITY
    assert found.subject == "field-recordings@curlew:store/recordings"


def test_a_loose_drive_keeps_no_key_of_its_own() -> None:
    case, drive = on_shelf("shelf-b")
    beside, again = on_shelf("shelf-b", "station")

    assert "inside of what is encrypted itself" in found_in(case, drive).message
    assert found_in(beside, again).answer is Answer.NONCONFORMITY, "the key in the drive is none"


def test_two_drives_that_keep_each_others_keys_keep_none() -> None:
    case, drive = on_shelf("shelf-a")
    other = a_device(
        "shelf-a",
        a_volume("shelf-a:drive", encrypted=True, key_kept=("shelf-b",)),
        access=ShelfAccess(),
        site=CURLEW.site,
    )

    assert "inside of what is encrypted itself" in found_in(case, drive, other).message
    readable = replace(other, volumes=(replace(other.volumes[0], key_kept=("station",)),))
    assert "inside" not in found_in(case, drive, readable).message


def test_without_a_keeper_whether_it_can_be_restored_is_unknown() -> None:
    """Said as such, and not counted; where it is not needed it is an observation."""
    dataset = judged_dataset(on_curlew())
    needed, superfluous = (
        found_in(on_curlew()),
        found_in(on_curlew(policy=replace(POLICY, copies=2, offsite=None, media=None))),
    )

    assert dataset.copies[1].standing is Standing.UNVERIFIED
    assert "whether it can be restored is unknown" in dataset.copies[1].reason
    assert dataset.copies[1].recovery_point is None
    assert dataset.conclusion == "unverified"
    assert needed.answer is Answer.UNVERIFIED
    assert superfluous.answer is Answer.OBSERVATION


def test_a_copy_that_is_not_encrypted_has_no_key() -> None:
    assert not [f for f in judged_dataset(a_case()).findings if f.rule == "kept-keys"]


# --- Against all failures, tried one by one ---

WHERE = [SiteId("station"), SiteId("barn"), SiteId("harbour")]


@st.composite
def estates(draw: st.DrawFn) -> tuple[Estate, DatasetCase]:
    """Up to five boxes at three sites, guests among them, and a copy whose key is kept at some of all these."""
    count = draw(st.integers(2, 5))
    devices: list[Device] = []
    for number in range(count):
        host = draw(st.none() | st.sampled_from(devices)) if devices else None
        site = host.site if host else draw(st.sampled_from(WHERE))
        made = a_device(f"box-{number}", a_volume(f"box-{number}:disk"), site=site, access=LocalAccess())
        devices.append(replace(made, runs_on=host.id if host else None))
    chosen = draw(st.permutations(devices))
    names = [*(str(device.id) for device in devices), *map(str, WHERE)]
    keepers = draw(st.lists(st.sampled_from(names), min_size=1, max_size=3, unique=True))
    original = replace(RECORDINGS, original=an_address(f"{chosen[0].id}:disk"))
    copy = replace(FAR, address=an_address(f"{chosen[1].id}:disk/copy"), encrypted=True, key_kept=tuple(keepers))
    case = a_case(a_copy(chosen[1], copy), original=an_original(chosen[0]), dataset=original)
    sites = (*SITES, Site(id=SiteId("harbour"), name="Harbour"))
    return replace(an_estate(*devices), sites=sites, datasets=(case.dataset,), policies=(case.policy,)), case


def gone(estate: Estate, failed: str) -> set[str]:
    """All that one failure takes: a site with its boxes, a box with its guests, again and again until nothing falls."""
    taken = {failed}
    while True:
        more = {str(d.id) for d in estate.devices if str(d.site) in taken or (d.runs_on and str(d.runs_on) in taken)}
        if more <= taken:
            return taken
        taken |= more


@settings(max_examples=300, deadline=None)
@given(estates())
def test_the_answer_is_that_of_trying_every_device_and_every_site(drawn: tuple[Estate, DatasetCase]) -> None:
    estate, case = drawn
    copy = case.copies[0].copy
    lost_original = lost_itself = False
    for failed in [*(str(d.id) for d in estate.devices), *(str(s.id) for s in estate.sites)]:
        taken = gone(estate, failed)
        keys_left = [keeper for keeper in copy.key_kept if keeper not in taken]
        copy_left = str(copy.address.volume.device) not in taken
        original_left = str(case.dataset.original.volume.device) not in taken
        lost_original |= not keys_left and copy_left and not original_left
        lost_itself |= not keys_left and not copy_left

    (found,) = [f for f in judged(case, estate).datasets[0].findings if f.rule == "kept-keys"]

    assert (found.answer is Answer.NONCONFORMITY) == (lost_original or lost_itself)
    assert ("the copy that is left cannot be opened" in found.message) == lost_original


def test_the_names_of_the_drawn_boxes_are_no_names_of_sites() -> None:
    assert not {str(site) for site in WHERE} & {DeviceId(f"box-{number}") for number in range(5)}
