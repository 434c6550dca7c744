"""Random estates with everything by which places can fall together, and a plain model of what falls with what.

The model is written anew, by names alone: it is what the scenarios are held against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from hypothesis import strategies as st

from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from coverage_audit.estate.model import Copy, Dataset, DatasetId, Device, DeviceId, Estate, Policy, PolicyId, SiteId
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import JudgedEstate
from tests.builders.cases import a_copy, a_gap, a_manifest, a_place, an_original, lacking
from tests.builders.station import FINISHED, MAX_AGE, STARTED, a_device, a_volume, an_address, an_estate

NAMES = ("kestrel", "heron", "curlew", "avocet")
SHARED = (("room", "lab"), ("room", "loft"), ("power", "ups"), ("account", "admin"))
PARITIES: tuple[Parity | None, ...] = (
    None,
    Parity(kind=ParityKind.SPREAD, drives=1),
    Parity(kind=ParityKind.DEDICATED, drives=1),
    Parity(kind=ParityKind.MIRROR),
)
STATES = ("held", "held", "held", "stale", "unseen")


@dataclass(frozen=True, kw_only=True)
class Failing:
    """A random estate, its one dataset's case, and what was judged of it."""

    estate: Estate
    case: DatasetCase
    judged: JudgedEstate


@st.composite
def devices(draw: st.DrawFn) -> tuple[Device, ...]:
    """Two to four devices: some share things, some run on others or are stored on them, some list drives."""
    made: list[Device] = []
    for name in NAMES[: draw(st.integers(2, 4))]:
        values: dict[str, Any] = {
            "site": SiteId(draw(st.sampled_from(["station", "barn"]))),
            "failure_domains": tuple(draw(st.lists(st.sampled_from(SHARED), max_size=2, unique=True))),
        }
        volume = a_volume(f"{name}:data", **draw(volume_values(made)))
        if made and draw(st.integers(0, 3)) == 0:
            values["runs_on"] = draw(st.sampled_from(made)).id
        made.append(a_device(name, volume, **values))
    return tuple(made)


@st.composite
def volume_values(draw: st.DrawFn, others: Sequence[Device]) -> dict[str, Any]:
    """What a volume declares."""
    values: dict[str, Any] = {"immutable": draw(st.integers(0, 5)) == 0}
    if others and draw(st.integers(0, 4)) == 0:
        values["stored_on"] = draw(st.sampled_from(others)).volumes[0].key
    if draw(st.integers(0, 2)) == 0:
        count = draw(st.integers(2, 4))
        values |= {
            "drives": tuple(Drive(size=4 * 10**12) for _ in range(count)),
            "parity": draw(st.sampled_from(PARITIES)),
        }
    if draw(st.integers(0, 3)) == 0:
        keepers = ["station", "barn", *(str(device.id) for device in others)]
        values |= {
            "encrypted": True,
            "key_kept": tuple(draw(st.lists(st.sampled_from(keepers), max_size=2, unique=True))),
        }
    return values


@st.composite
def failing_estates(draw: st.DrawFn) -> Failing:
    """One dataset on these devices, each of its copies held, behind or unseen."""
    boxes = draw(devices())
    order = draw(st.permutations(boxes))
    original, *rest = order[: draw(st.integers(1, len(boxes)))]
    policy = Policy(
        id=PolicyId("asked"),
        copies=draw(st.integers(1, 3)),
        media=None,
        offsite=draw(st.sampled_from([None, 1])),
        max_age=MAX_AGE,
    )
    copies = tuple(_copy(box, draw(st.sampled_from(STATES))) for box in rest)
    place = a_place(original)
    address = an_address(f"{original.volumes[0].key}/it")
    dataset = Dataset(
        id=DatasetId("it"), policy=policy.id, original=address, copies=tuple(copy.copy for copy in copies)
    )
    case = DatasetCase(
        dataset=dataset,
        policy=policy,
        original=an_original(original, place=place, tree=a_manifest(address)),
        copies=copies,
    )
    estate = replace(an_estate(*boxes), datasets=(dataset,), policies=(policy,))
    return Failing(estate=estate, case=case, judged=judged_of(estate, case))


def judged_of(estate: Estate, case: DatasetCase) -> JudgedEstate:
    """Judge one case in its estate, as of one audit."""
    return judge(estate, [case], identities=(), gaps=(), started=STARTED, finished=FINISHED)


def _copy(box: Device, state: str) -> CopyEvidence:
    declared = Copy(address=an_address(f"{box.volumes[0].key}/it"))
    if state == "unseen":
        return a_copy(box, declared, comparison=None, tree_at=None, gap=a_gap(str(box.id)))
    if state == "stale":
        behind = lacking(3, 300)
        counted = replace(behind, counting=behind.missing, counting_rows=3, earliest_start=STARTED - timedelta(days=3))
        return a_copy(box, declared, comparison=counted)
    return a_copy(box, declared)


def falls(estate: Estate, device: DeviceId, failed: frozenset[str]) -> bool:
    """Whether a device is down, by the names of what failed."""
    box = estate.device(device)
    shared = {f"{kind}={name}" for kind, name in box.failure_domains if kind != "account"}
    if failed & {str(device), f"site={box.site}", *shared}:
        return True
    return box.runs_on is not None and falls(estate, box.runs_on, failed)


def erased(estate: Estate, device: DeviceId, failed: frozenset[str]) -> bool:
    """Whether somebody holds an account by which all on a device can be erased."""
    box = estate.device(device)
    if failed & {f"{kind}={name}" for kind, name in box.failure_domains if kind == "account"}:
        return True
    return box.runs_on is not None and erased(estate, box.runs_on, failed)


def volume_lost(estate: Estate, device: DeviceId, failed: frozenset[str], *, perhaps: bool = False) -> bool:
    """Whether what the only volume of a device holds is lost; with `perhaps`, whether it may be.

    None here is shown to be immutable, so one that is declared so may be erased by the accounts of its own device.
    Those of a host or of what stores it erase it all the same.
    """
    volume = estate.device(device).volumes[0]
    upon = [volume]
    while upon[-1].stored_on is not None:
        upon.append(estate.volume(upon[-1].stored_on))
    boxes = [each.key.device for each in upon]
    if any(falls(estate, box, failed) or f"{box}:data" in failed for box in boxes):
        return True
    host = estate.device(device).runs_on
    beneath = [*(box for box in boxes if box != device), *([host] if host is not None else [])]
    if any(erased(estate, box, failed) for box in beneath):
        return True
    if (perhaps or not volume.immutable) and erased(estate, device, failed):
        return True
    for each in upon:
        out = sum(f"{each.key}#{number + 1}" in failed for number in range(len(each.drives)))
        stands = 0 if each.parity is None else len(each.drives) - 1 if each.parity.kind is ParityKind.MIRROR else 1
        if out > stands:
            return True
    return perhaps and _may_lie_there(estate, upon[-1].key.device, failed)


def _may_lie_there(estate: Estate, guest: DeviceId, failed: frozenset[str]) -> bool:
    """Whether a volume is lost of a host below: where on it a guest's own volume lies is not declared."""
    host = estate.device(guest).runs_on
    return host is not None and volume_lost(estate, host, failed, perhaps=True)


def key_lost(estate: Estate, device: DeviceId, failed: frozenset[str]) -> bool:
    """Whether every place that keeps the key of a device's volume is gone."""
    volume = estate.device(device).volumes[0]
    sites = {str(site.id) for site in estate.sites}
    if not volume.encrypted or not volume.key_kept:
        return False
    return all(
        f"site={keeper}" in failed
        if keeper in sites
        else falls(estate, DeviceId(keeper), failed) or erased(estate, DeviceId(keeper), failed)
        for keeper in volume.key_kept
    )


def is_lost(failing: Failing, failed: frozenset[str]) -> bool:
    """Whether nothing is left that is shown to hold the dataset."""
    estate, case = failing.estate, failing.case
    original = volume_lost(estate, case.dataset.original.volume.device, failed, perhaps=True)
    return original and all(
        volume_lost(estate, box, failed, perhaps=True) or key_lost(estate, box, failed) for box in shown_on(failing)
    )


def shown_on(failing: Failing) -> list[DeviceId]:
    """The devices of the copies that are shown to hold something and can be opened."""
    volumes = [copy.place.volume for copy in failing.case.copies if copy.comparison is not None]
    return [volume.key.device for volume in volumes if not volume.encrypted or volume.key_kept]
