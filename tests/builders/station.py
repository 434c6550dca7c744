"""The field station of the tests: what it declares where all is well."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.limits import Limits
from coverage_audit.estate.model import (
    Address,
    Copy,
    Dataset,
    DatasetId,
    Device,
    DeviceId,
    Estate,
    Medium,
    Policy,
    PolicyId,
    Site,
    SiteId,
    Volume,
    VolumeId,
    VolumeKey,
)
from coverage_audit.evidence.difference import Tally

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


_T = TypeVar("_T", bound="DataclassInstance")


STARTED = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)


SEEN = STARTED + timedelta(minutes=2)


FINISHED = STARTED + timedelta(minutes=30)


MAX_AGE = timedelta(hours=26)


HELD = Tally(files=1000, bytes=5_000_000_000)


LIMITS = Limits(
    memory=1_000_000_000,
    device_time=timedelta(hours=2),
    read_time=timedelta(minutes=2),
    connect_time=timedelta(seconds=15),
    login_time=timedelta(seconds=30),
    channels=4,
    devices_at_once=4,
    walkers=2,
    clock_tolerance=timedelta(minutes=2),
    undeclared_above=10**9,
    survey_every=timedelta(days=7),
    survey_depth=4,
    attached_grace=timedelta(days=3),
    content_time=timedelta(minutes=30),
    content_rate=100_000_000,
)


POLICY = Policy(id=PolicyId("irreplaceable"), copies=3, media=2, offsite=1, max_age=MAX_AGE)


SITES = (Site(id=SiteId("station"), name="Field station"), Site(id=SiteId("barn"), name="Long Barn"))


def changed(value: _T, **values: Any) -> _T:
    """Return a frozen value with some fields changed, named at run time."""
    return replace(value, **values)


def a_key(text: str) -> VolumeKey:
    """Return the key of `device:volume`."""
    device, volume = text.split(":")
    return VolumeKey(device=DeviceId(device), volume=VolumeId(volume))


def an_address(text: str) -> Address:
    """Return the address of `device:volume/path`."""
    volume, _, path = text.partition("/")
    return Address(volume=a_key(volume), path=path)


def a_volume(key: str, **values: Any) -> Volume:
    """A volume of hard drives, unless said otherwise."""
    wanted: dict[str, Any] = {"path": f"/srv/{key.partition(':')[2]}", "medium": Medium.HDD}
    return Volume(key=a_key(key), **{**wanted, **values})


def a_device(name: str, *volumes: Volume, **values: Any) -> Device:
    """A box at the station, reached over SSH, unless said otherwise."""
    wanted: dict[str, Any] = {"site": SiteId("station"), "access": SshAccess(host=f"{name}.example")}
    return Device(id=DeviceId(name), volumes=volumes, **{**wanted, **values})


KESTREL = a_device("kestrel", a_volume("kestrel:main"))


HERON = a_device("heron", a_volume("heron:pool"))


CURLEW = a_device("curlew", a_volume("curlew:store", medium=Medium.SSD), site=SiteId("barn"))


RECORDINGS = Dataset(
    id=DatasetId("field-recordings"),
    policy=POLICY.id,
    original=an_address("kestrel:main/recordings"),
    copies=(
        Copy(address=an_address("heron:pool/mirror/recordings")),
        Copy(address=an_address("curlew:store/recordings")),
    ),
)


def an_estate(*devices: Device, **values: Any) -> Estate:
    """The field station with the three boxes, unless said otherwise."""
    wanted: dict[str, Any] = {
        "name": "Saltreach Field Station",
        "time_zone": ZoneInfo("Europe/Dublin"),
        "sites": SITES,
        "policies": (POLICY,),
        "datasets": (RECORDINGS,),
        "limits": LIMITS,
    }
    return Estate(devices=devices or (KESTREL, HERON, CURLEW), **{**wanted, **values})
