"""What a loss does to the invented station, as values: for the pages, without an audit."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

from coverage_audit.estate.hardware import Parity, ParityKind
from coverage_audit.estate.model import Address, DatasetId, DeviceId, Estate, Proof, SiteId, VolumeId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.domains import device_domain, drive_domain, shared_domain, site_domain
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from coverage_audit.reckoning.rebuilding import rebuild_risk
from coverage_audit.reckoning.restoring import limit_as_measured, limit_of_link, time_back
from coverage_audit.scenarios.cut_set import CutMember, CutSet, DatasetCuts
from coverage_audit.scenarios.drive_out import ArrayState, AtStake, DriveAge, DriveOut
from coverage_audit.scenarios.loss import (
    AlsoFalls,
    BelowPolicy,
    DatasetLoss,
    Fate,
    KeyAt,
    Loss,
    LossTable,
    Place,
    Restore,
)
from tests.builders.judged import NOW, STARTED, a_finding, address, an_estate, key

NAMES = (
    "field-recordings",
    "herbarium",
    "ledgers",
    "old-maps",
    "photographs",
    "tide-gauges",
    "weather",
    "correspondence",
    "theses",
    "catalogue",
)
_WHOLE = Tally(files=18_204, bytes=212_000_000_000)


def a_place_left(
    device: str = "heron",
    path: str = "mirror",
    *,
    standing: Standing = Standing.PROVEN,
    holds: Holds = Holds.ALL,
    age: timedelta | None = timedelta(hours=6),
    lacks: Tally | None = None,
    why: str = "holds all of the original",
    encrypted: bool = False,
    key_kept: tuple[str, ...] = (),
    is_original: bool = False,
) -> Place:
    return Place(
        address=address(device, path),
        site=SiteId("station" if device in {"kestrel", "heron"} else "barn"),
        is_original=is_original,
        standing=standing,
        proof=Proof.LISTED if standing is not Standing.UNVERIFIED else Proof.DECLARED,
        holds=holds,
        recovery_point=None if age is None else NOW - age,
        recovery_point_trimmed=None if age is None else NOW - age,
        not_held=lacks if lacks is not None else Tally(),
        why=why,
        seen=STARTED,
        encrypted=encrypted,
        key_kept=key_kept,
    )


def a_restore(
    source: Address, size: int = _WHOLE.bytes, *, measured: bool = False, fetch: timedelta | None = None
) -> Restore:
    limits = [limit_of_link(source.volume.device, 10**9)]
    if measured:
        limits.append(limit_as_measured(str(source.volume), 38_000_000, "median of the last 3 drills"))
    return Restore(source=source, bytes=size, time=time_back(size, limits, fetch), shown=measured)


def a_dataset_loss(
    name: str = "field-recordings",
    fate: Fate = Fate.HELD,
    *,
    best: Place | None = None,
    left: tuple[Place, ...] | None = None,
    gone: tuple[Place, ...] | None = None,
    below: tuple[BelowPolicy, ...] = (),
    restore: Restore | None = None,
    size: Tally | None = _WHOLE,
) -> DatasetLoss:
    original_gone = fate is not Fate.TOUCHED
    return DatasetLoss(
        dataset=DatasetId(name),
        policy="irreplaceable",
        fate=fate,
        original_gone=original_gone,
        size=size,
        left_out=Tally(),
        gone=gone or (a_place_left("kestrel", name, is_original=original_gone),),
        left=left if left is not None else ((best,) if best else ()),
        best=best,
        not_held=best.not_held if best else None,
        since=best.recovery_point if best else None,
        since_trimmed=best.recovery_point_trimmed if best else None,
        exposed=None,
        below=below,
        conclusion=Conclusion.NONCONFORMING if below or best is None else Conclusion.CONFORMING,
        restore=restore,
        restore_within=timedelta(hours=12),
    )


def one_fewer(name: str, answer: Answer = Answer.NONCONFORMITY) -> BelowPolicy:
    return BelowPolicy(finding=a_finding("copies", name, answer), before=Answer.CONFORMITY)


def kestrel_gone(names: tuple[str, ...] = NAMES) -> Loss:
    """The station's main box is gone: most comes back from a neighbour, one from the barn, one from nowhere."""
    datasets = [_held(name) for name in names]
    datasets[1] = _falls_back(names[1])
    datasets[2] = a_dataset_loss(names[2], Fate.LOST)
    datasets[3] = _not_shown(names[3])
    datasets[4] = a_dataset_loss(
        names[4], Fate.TOUCHED, best=a_place_left("heron", names[4], is_original=True), below=(one_fewer(names[4]),)
    )
    worst_first = sorted(datasets, key=lambda one: list(Fate).index(one.fate))
    coming = [one for one in datasets if one.restore is not None]
    times = [one.restore.time for one in coming if one.restore and one.restore.time]
    return Loss(
        domain=device_domain(DeviceId("kestrel")),
        said="the device kestrel",
        devices=(DeviceId("kestrel"),),
        volumes=(key("kestrel"),),
        also=(AlsoFalls(name="avocet", why="runs on kestrel"),),
        survives=(),
        datasets=tuple(worst_first),
        untouched=(DatasetId("bird-counts"),),
        keys=(KeyAt(volume=key("shelf-b"), elsewhere=("barn",)),),
        order=tuple(one.dataset for one in coming),
        back=sum((each.time for each in times), timedelta()),
        not_reckoned=(DatasetId(names[3]),),
        drive=None,
        assumptions=tuple(dict.fromkeys(said for each in times for said in each.assumptions)),
    )


def _held(name: str) -> DatasetLoss:
    best = a_place_left("heron", f"mirror/{name}")
    left = (best, a_place_left("shelf-b", name, standing=Standing.UNVERIFIED, holds=Holds.NOT_SHOWN, age=None))
    return a_dataset_loss(name, Fate.HELD, best=best, left=left, restore=a_restore(best.address))


def _falls_back(name: str) -> DatasetLoss:
    best = a_place_left(
        "curlew",
        f"nightly/{name}",
        standing=Standing.STALE,
        holds=Holds.PART,
        age=timedelta(days=9),
        lacks=Tally(files=311, bytes=4_800_000_000),
        why="its newest whole point is 9 days old",
        encrypted=True,
        key_kept=("barn", "heron"),
    )
    restore = a_restore(best.address, measured=True, fetch=timedelta(hours=3))
    return a_dataset_loss(name, Fate.FALLS_BACK, best=best, below=(one_fewer(name),), restore=restore)


def _not_shown(name: str) -> DatasetLoss:
    left = a_place_left(
        "shelf-b", name, standing=Standing.UNVERIFIED, holds=Holds.NOT_SHOWN, age=None, why="never recorded"
    )
    return a_dataset_loss(name, Fate.NOT_SHOWN, left=(left,), below=(one_fewer(name, Answer.UNVERIFIED),), size=None)


def hut_gone() -> Loss:
    """Everything of two datasets stands in one room."""
    datasets = (a_dataset_loss("ledgers", Fate.LOST), a_dataset_loss("old-maps", Fate.LOST))
    return replace(
        kestrel_gone(),
        domain=shared_domain("room", "hut"),
        said="the room hut",
        devices=(DeviceId("kestrel"), DeviceId("heron")),
        volumes=(key("kestrel"), key("heron")),
        also=(),
        datasets=datasets,
        keys=(),
        order=(),
        back=timedelta(0),
        not_reckoned=(),
        assumptions=(),
    )


def account_gone() -> Loss:
    """Who holds the password can erase what it can write to."""
    return replace(
        kestrel_gone(),
        domain=shared_domain("account", "warden"),
        said="the admin account warden",
        also=(),
        survives=(AlsoFalls(name="shelf-b:drive", why="kept offline"), AlsoFalls(name="curlew:store", why="immutable")),
    )


def barn_gone() -> Loss:
    """Nothing but copies is at the barn."""
    best = a_place_left("kestrel", "herbarium", is_original=True)
    return replace(
        hut_gone(),
        domain=site_domain(SiteId("barn")),
        said="the site Long Barn",
        devices=(DeviceId("curlew"), DeviceId("shelf-b")),
        volumes=(key("curlew"), key("shelf-b")),
        datasets=(a_dataset_loss("herbarium", Fate.TOUCHED, best=best, below=(one_fewer("herbarium"),)),),
    )


def a_drive_out() -> DriveOut:
    volume = key("heron")
    sizes = (12 * 10**12, 12 * 10**12, 8 * 10**12, 4 * 10**12)
    parity = Parity(kind=ParityKind.DEDICATED, drives=1)
    array = ArrayState(drives=sizes, parity=str(parity), usable=24 * 10**12, unused=0, stands=1)
    return DriveOut(
        volume=volume,
        number=3,
        array=array,
        without=replace(array, drives=(12 * 10**12, 12 * 10**12, 4 * 10**12), usable=16 * 10**12),
        replaced=replace(array, drives=(12 * 10**12, 12 * 10**12, 12 * 10**12, 4 * 10**12), usable=28 * 10**12),
        risk=rebuild_risk(sizes, parity, lost=8 * 10**12, rate=Fraction(280_000_000)),
        ages=(
            DriveAge(number=1, size=12 * 10**12, years=6.2, service_years=5),
            DriveAge(number=2, size=12 * 10**12, years=None, service_years=5),
            DriveAge(number=3, size=8 * 10**12, years=1.4, service_years=5),
        ),
        at_stake=(
            AtStake(dataset=DatasetId("ledgers"), address=address("heron", "ledgers"), bytes=41 * 10**9, why="alone"),
            AtStake(dataset=DatasetId("old-maps"), address=address("heron", "maps"), bytes=None, why="none is proven"),
        ),
        steps=("Put the new drive in before the old one is taken out, where there is a place for it.",),
        assumptions=("Sizes are decimal; what the filesystem itself takes is not reckoned.",),
    )


def drive_gone() -> Loss:
    drive = a_drive_out()
    return replace(
        barn_gone(),
        domain=drive_domain(drive.volume, 3),
        said="drive 3 of heron:pool",
        devices=(),
        volumes=(),
        datasets=(),
        drive=drive,
    )


def some_cuts(dataset: str = "ledgers") -> DatasetCuts:
    kestrel, heron = device_domain(DeviceId("kestrel")), device_domain(DeviceId("heron"))
    hut, station = shared_domain("room", "hut"), site_domain(SiteId("station"))
    pool = VolumeKey(device=DeviceId("heron"), volume=VolumeId("pool"))
    return DatasetCuts(
        dataset=DatasetId(dataset),
        shown=True,
        sets=(
            CutSet(members=(CutMember(domains=(hut, station)),)),
            CutSet(members=(CutMember(domains=(kestrel,)), CutMember(domains=(heron,)))),
            CutSet(
                members=(
                    CutMember(domains=(kestrel,)),
                    CutMember(domains=tuple(drive_domain(pool, number) for number in (1, 2, 3, 4)), needed=2),
                )
            ),
        ),
        at_most=3,
        not_counted=(address("shelf-b", dataset),),
    )


def a_table(*losses: Loss, cuts: tuple[DatasetCuts, ...] | None = None, unjudged: tuple[str, ...] = ()) -> LossTable:
    apart = DatasetCuts(dataset=DatasetId("weather"), shown=True, sets=(), at_most=3, not_counted=())
    unseen = DatasetCuts(
        dataset=DatasetId("tide-gauges"), shown=False, sets=(), at_most=3, not_counted=(address("shelf-b", "tides"),)
    )
    return LossTable(
        estate="Saltreach Field Station",
        as_of=STARTED,
        at=NOW + timedelta(hours=2),
        rehearsal=False,
        losses=losses or (hut_gone(), kestrel_gone(), account_gone(), barn_gone(), drive_gone()),
        cuts=(some_cuts(), apart, unseen) if cuts is None else cuts,
        unjudged=unjudged,
        assumptions=("What falls together is what is declared to.",),
    )


def the_estate() -> Estate:
    return an_estate()


def hostile_loss(name: str) -> Loss:
    """A loss in which every text that can be anybody's is this one."""
    best = replace(_falls_back(name), dataset=DatasetId(name))
    place = replace(
        a_place_left("curlew", name, why=name, encrypted=True, key_kept=(name,)), holds=Holds.PART, site=SiteId(name)
    )
    finding = replace(a_finding("copies", name), message=name)
    drive = a_drive_out()
    return replace(
        kestrel_gone(),
        domain=shared_domain("room", name),
        said=name,
        also=(AlsoFalls(name=name, why=name),),
        survives=(AlsoFalls(name=name, why=name),),
        datasets=(
            replace(
                best,
                best=place,
                left=(place, replace(place, holds=Holds.NOT_SHOWN)),
                gone=(place,),
                below=(BelowPolicy(finding=finding, before=None),),
            ),
            replace(_not_shown(name), left=(replace(place, holds=Holds.NOT_SHOWN),)),
        ),
        keys=(KeyAt(volume=key("shelf-b"), elsewhere=(name,)), KeyAt(volume=key("heron"), elsewhere=())),
        order=(DatasetId(name), DatasetId(name)),
        not_reckoned=(DatasetId(name),),
        drive=replace(
            drive,
            array=replace(drive.array, wrong=name),
            steps=(name,),
            at_stake=(AtStake(dataset=DatasetId(name), address=address("heron", name), bytes=1, why=name),),
        ),
        assumptions=(name,),
    )


def hostile_table(name: str) -> LossTable:
    cuts = replace(
        some_cuts(name),
        sets=tuple(CutSet(members=(CutMember(domains=(shared_domain("room", name),)),)) for _ in range(9)),
    )
    losses = [replace(hostile_loss(name), domain=shared_domain("room", f"{name}{number}")) for number in range(5)]
    return replace(a_table(*losses, cuts=(cuts,), unjudged=(name,)), assumptions=(name,))


def a_large_table() -> LossTable:
    """Thirty boxes, sixty datasets and forty failure domains, each of which touches every dataset."""
    names = tuple(f"herbarium-{number:02}" for number in range(60))
    gone = kestrel_gone(names)
    losses = [
        replace(gone, domain=shared_domain("room", f"room-{number}"), said=f"room {number}") for number in range(40)
    ]
    cuts = tuple(replace(some_cuts(name), sets=some_cuts(name).sets * 20) for name in names)
    return a_table(*losses, cuts=cuts)
