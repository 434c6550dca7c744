"""What one audit asks of which device."""

from __future__ import annotations

import pytest

from coverage_audit.audits.planning import plan_audit, plan_introduction
from coverage_audit.errors import UsageError
from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.estate.reader import read_estate
from coverage_audit.estate.shipped import sample_folder

ESTATE = read_estate(sample_folder() / "tour.yaml")
WHOLE = read_estate(sample_folder() / "estate.yaml")


def address(device: str, volume: str, path: str) -> Address:
    return Address(volume=VolumeKey(device=DeviceId(device), volume=VolumeId(volume)), path=path)


def test_each_device_is_asked_once_and_no_tree_twice() -> None:
    plan = plan_audit(ESTATE, ())
    devices = [question.device.id for question in plan.questions]
    assert sorted(devices) == sorted(set(devices))
    trees = [tree for question in plan.questions for tree in question.trees]
    assert sorted(trees) == sorted(set(trees))
    assert plan.whole


def test_every_address_of_the_estate_is_asked_for_somewhere() -> None:
    plan = plan_audit(WHOLE, ())
    asked = {tree for question in plan.questions for tree in question.trees}
    asked |= {copy.address for question in plan.questions for copy in question.pointed}
    shelves = {device.id for device in WHOLE.devices if isinstance(device.access, ShelfAccess)}
    declared = {copy.address for dataset in WHOLE.datasets for copy in dataset.copies}
    declared |= {dataset.original for dataset in WHOLE.datasets}
    assert {place for place in declared if place.volume.device not in shelves} == asked


def test_a_part_of_the_estate_asks_only_the_devices_that_bear_on_it() -> None:
    plan = plan_audit(ESTATE, ["camera-trap"])
    assert {question.device.id for question in plan.questions} == {"kestrel", "curlew"}
    assert [tree for question in plan.questions for tree in question.trees] == [
        address("kestrel", "main", "camera-trap")
    ]
    assert not plan.whole


def test_a_guest_brings_its_host_along() -> None:
    guests = [device for device in WHOLE.devices if device.runs_on]
    assert guests, "the sample estate shows a guest"
    guest = guests[0]
    named = [
        dataset.id
        for dataset in WHOLE.datasets
        if guest.id in {dataset.original.volume.device, *(copy.address.volume.device for copy in dataset.copies)}
    ]
    plan = plan_audit(WHOLE, named[:1])
    assert guest.runs_on in {question.device.id for question in plan.questions}


def test_an_unknown_dataset_is_named_with_the_nearest() -> None:
    with pytest.raises(UsageError, match="did you mean 'camera-trap'"):
        plan_audit(ESTATE, ["camera-trop"])


def test_an_introduction_walks_nothing() -> None:
    for question in plan_introduction(WHOLE):
        assert question.trees == ()
        assert question.pointed == ()
        assert question.volumes == question.device.volumes
