"""Restore time against `restore_within`: NIST SP 800-34 Rev. 1, recovery time objective.

1 TB over 1 Gbit/s takes 8,497.2 s, and over 2.5 Gbit/s 3,398.9 s (IEEE 802.3 frames of 1,538 bytes around packets of
1,500, TCP over IPv4 with timestamps: 1,448 of them data).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from coverage_audit.estate.model import Copy, Device, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.judgement.bringing_back import estimate
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import (
    a_case,
    a_comparison,
    a_copy,
    a_gap,
    a_place,
    device_facts,
    judged_dataset,
    volume_facts,
)
from tests.builders.station import CURLEW, HERON, KESTREL, POLICY, a_device, a_volume, an_address, an_estate

TB = 10**12
WHOLE = Tally(files=1000, bytes=TB)


def copy_on(device: Device, **values: Any) -> Any:
    whole = a_comparison(original=WHOLE, same=WHOLE)
    return a_copy(device, Copy(address=an_address(f"{device.volumes[0].key}/it")), **{"comparison": whole, **values})


def linked(device: Device, bits: int) -> Device:
    return replace(device, link=bits)


def measured(volume: VolumeKey, rate: int) -> MeasuredRate:
    return MeasuredRate(volume=volume, rate=rate)


def findings_of(*copies: Any, within: timedelta | None, rates: tuple[MeasuredRate, ...] = ()) -> list[Finding]:
    case = a_case(*copies)
    policy = replace(POLICY, copies=2, media=None, offsite=None, restore_within=within)
    original = replace(case.original, place=a_place(linked(KESTREL, 10**9)))
    case = replace(case, policy=policy, rates=rates, original=original)
    return [found for found in judged_dataset(case).findings if found.rule == "restore-time"]


def finding_of(*copies: Any, hours: float, rates: tuple[MeasuredRate, ...] = ()) -> Finding:
    (finding,) = findings_of(*copies, within=timedelta(hours=hours), rates=rates)
    return finding


def test_nothing_is_said_where_no_time_is_asked() -> None:
    assert not findings_of(copy_on(HERON), within=None)


def test_a_rate_that_a_drill_measured_and_that_is_enough_conforms() -> None:
    heron = linked(HERON, 10**9)
    finding = finding_of(copy_on(heron), hours=3, rates=(measured(heron.volumes[0].key, 200_000_000),))

    assert finding.answer is Answer.CONFORMITY
    assert finding.measured == "2 h 21 min from heron:pool/it"  # 8,497.2 s: the link is slower than what was measured
    assert "slowest is the link of" in finding.message


def test_what_only_the_links_declared_would_allow_is_unverified() -> None:
    finding = finding_of(copy_on(linked(HERON, 2_500_000_000)), hours=3)

    assert finding.answer is Answer.UNVERIFIED
    assert finding.measured == "at least 2 h 21 min from heron:pool/it"
    assert "no drill has measured it" in finding.message


def test_what_even_the_links_declared_do_not_allow_is_nonconforming_whoever_measured() -> None:
    assert finding_of(copy_on(linked(HERON, 10**9)), hours=2).answer is Answer.NONCONFORMITY


def test_a_rate_that_was_measured_and_is_too_slow_is_nonconforming() -> None:
    heron = linked(HERON, 10**9)
    finding = finding_of(copy_on(heron), hours=24, rates=(measured(heron.volumes[0].key, 10_000_000),))

    assert finding.answer is Answer.NONCONFORMITY  # 100,000 s: more than 27 h
    assert "what was measured of heron:pool" in finding.message


def test_every_drive_of_a_mirror_is_read_at_once_and_writes_everything() -> None:
    """A hard disk moves 280 MB/s at best (common practice): 1 TB takes 1,786 s from two of them, 3,571 s onto two."""
    drives, parity = (Drive(size=4 * TB),) * 2, Parity(kind=ParityKind.MIRROR)
    source = replace(HERON, volumes=(replace(HERON.volumes[0], drives=drives, parity=parity),))
    target = replace(KESTREL, volumes=(replace(KESTREL.volumes[0], drives=drives, parity=parity),))
    estate = an_estate(source, target)

    def seconds(one: Device, other: Device) -> int:
        source, target = (an_address(f"{box.volumes[0].key}/it") for box in (one, other))
        return round(estimate(source, target, TB, estate, ()).least.total_seconds())

    assert seconds(source, target) == 3571
    estate = an_estate(source, KESTREL)
    assert seconds(source, KESTREL) == 1786


def test_a_bound_of_less_than_a_second_is_said_as_one() -> None:
    little = Tally(files=1, bytes=1000)
    finding = finding_of(copy_on(linked(HERON, 10**9), comparison=a_comparison(original=little, same=little)), hours=9)

    assert finding.measured.startswith("under 1 s at best from heron:pool/it")
    assert "in under 1 s at best;" in finding.message


def test_the_quickest_proven_copy_is_enough() -> None:
    heron, curlew = linked(HERON, 10**9), linked(CURLEW, 20_000_000)
    rates = tuple(measured(box.volumes[0].key, 150_000_000) for box in (heron, curlew))

    assert finding_of(copy_on(curlew), copy_on(heron), hours=3, rates=rates).answer is Answer.CONFORMITY


def test_a_quick_copy_that_is_not_proven_leaves_it_open() -> None:
    heron, curlew = linked(HERON, 10**9), linked(CURLEW, 20_000_000)
    rates = tuple(measured(box.volumes[0].key, 150_000_000) for box in (heron, curlew))
    unseen = copy_on(heron, comparison=None, tree_at=None, gap=a_gap("heron"))

    assert finding_of(copy_on(curlew), unseen, hours=3, rates=rates).answer is Answer.UNVERIFIED


def test_a_copy_that_is_lost_with_its_original_brings_nothing_back() -> None:
    same = replace(device_facts("kestrel"), device=HERON.id)
    one = copy_on(linked(HERON, 10**9), place=a_place(linked(HERON, 10**9), device_facts=same))

    finding = finding_of(one, hours=300, rates=(measured(HERON.volumes[0].key, 150_000_000),))

    assert finding.answer is Answer.NONCONFORMITY
    assert "no copy is proven from which" in finding.message


def test_without_any_rate_it_is_not_known() -> None:
    case = a_case(copy_on(HERON))
    policy = replace(POLICY, copies=2, media=None, offsite=None, restore_within=timedelta(hours=1))

    (finding,) = (f for f in judged_dataset(replace(case, policy=policy)).findings if f.rule == "restore-time")

    assert finding.answer is Answer.UNVERIFIED
    assert "neither a link nor a drill" in finding.message


SHELF = a_device("shelf-b", a_volume("shelf-b:drive", offline=True), site=CURLEW.site, access=ShelfAccess())


def test_the_time_to_fetch_a_drive_is_part_of_it() -> None:
    near = replace(SHELF, fetch_time=timedelta(hours=4))
    rates = (measured(SHELF.volumes[0].key, 100_000_000),)  # 10,000 s: 2 h 46 min

    assert finding_of(copy_on(near), hours=7, rates=rates).answer is Answer.CONFORMITY
    assert finding_of(copy_on(near), hours=6, rates=rates).answer is Answer.NONCONFORMITY


def test_a_drive_at_the_same_place_is_not_to_be_fetched() -> None:
    here = replace(SHELF, site=KESTREL.site)
    rates = (measured(here.volumes[0].key, 100_000_000),)

    assert finding_of(copy_on(here), hours=3, rates=rates).answer is Answer.CONFORMITY


def test_a_proven_copy_that_is_not_shown_to_be_apart_leaves_it_open() -> None:
    heron = linked(HERON, 10**9)
    hidden = a_place(heron, volume_facts=volume_facts(heron.volumes[0], filesystem_uuid=None))
    rates = (measured(heron.volumes[0].key, 150_000_000),)

    assert finding_of(copy_on(heron, place=hidden), hours=3, rates=rates).answer is Answer.UNVERIFIED


def test_a_drive_elsewhere_of_which_nobody_says_how_long_it_takes_to_fetch_leaves_it_open() -> None:
    finding = finding_of(copy_on(SHELF), hours=7, rates=(measured(SHELF.volumes[0].key, 100_000_000),))

    assert finding.answer is Answer.UNVERIFIED
    assert "fetch_time" in finding.message
