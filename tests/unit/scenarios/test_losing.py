"""All failures in one table: their order, what comes back in which order, and what an audit knows nothing of."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from coverage_audit.estate.model import Copy, Dataset, DatasetId, Device, DeviceId, Estate, Policy, PolicyId
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.domains import device_domain, site_domain
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate
from coverage_audit.scenarios.losing import loss_alone, loss_of, loss_table
from coverage_audit.scenarios.loss import Fate
from coverage_audit.scenarios.material import Material, material_of
from tests.builders.cases import a_comparison, a_copy, a_manifest, an_original
from tests.builders.station import CURLEW, FINISHED, HERON, KESTREL, STARTED, an_address, an_estate

TB = 10**12
LINKED = replace(KESTREL, link=10**9)
MIRROR = replace(HERON, link=10**9)


def policy(name: str, within: timedelta | None = None) -> Policy:
    return Policy(id=PolicyId(name), copies=1, max_age=timedelta(hours=26), restore_within=within)


def case(name: str, policy: Policy, original: Device, *copies: Device, size: int = TB) -> DatasetCase:
    whole = Tally(files=10, bytes=size)
    address = an_address(f"{original.volumes[0].key}/{name}")
    seen = tuple(
        a_copy(
            box,
            Copy(address=an_address(f"{box.volumes[0].key}/{name}")),
            comparison=a_comparison(original=whole, same=whole),
        )
        for box in copies
    )
    dataset = Dataset(id=DatasetId(name), policy=policy.id, original=address, copies=tuple(copy.copy for copy in seen))
    original_seen = an_original(original, tree=a_manifest(address, size=size), before=None)
    return DatasetCase(dataset=dataset, policy=policy, original=original_seen, copies=seen)


SOON, LATER = policy("soon", timedelta(hours=4)), policy("later")
CASES = (
    case("large", LATER, LINKED, MIRROR),
    case("small", LATER, LINKED, MIRROR, size=TB // 10),
    case("urgent", SOON, LINKED, MIRROR),
    case("alone", LATER, CURLEW),
    case("far", LATER, CURLEW, HERON, size=1000),
)


def audited(*cases: DatasetCase) -> tuple[Estate, JudgedEstate]:
    estate = an_estate(LINKED, MIRROR, CURLEW, datasets=tuple(one.dataset for one in cases), policies=(SOON, LATER))
    return estate, judge(estate, cases, identities=(), gaps=(), started=STARTED, finished=FINISHED)


def laid_out(*cases: DatasetCase, **values: Any) -> Material:
    estate, judged = audited(*(cases or CASES))
    return material_of(estate, judged, at=FINISHED, **values)


KESTREL_GONE = device_domain(DeviceId("kestrel"))


def test_what_is_to_be_back_soonest_comes_back_first_then_what_is_small() -> None:
    assert loss_of(KESTREL_GONE, laid_out()).order == ("urgent", "small", "large")


# 1 TB over 1 Gbit/s takes 8,497.2 s (frames of 1,538 bytes around packets of 1,500, TCP with timestamps).
def test_all_of_it_takes_as_long_as_one_after_the_other() -> None:
    back = loss_of(KESTREL_GONE, laid_out()).back

    assert back is not None
    assert back.total_seconds() == pytest.approx(2.1 * 8497.2, rel=1e-4)


def test_a_measured_rate_that_is_slower_rules() -> None:
    slow = MeasuredRate(volume=HERON.volumes[0].key, rate=10_000_000)
    back = loss_of(KESTREL_GONE, laid_out(rates=(slow,))).back

    assert back is not None
    assert back.total_seconds() == pytest.approx(2.1 * 100_000, rel=1e-4)


def test_the_time_to_fetch_is_taken_once() -> None:
    fetched = replace(MIRROR, fetch_time=timedelta(hours=5))
    cases = (case("one", LATER, LINKED, fetched), case("two", LATER, LINKED, fetched))
    estate, judged = audited(*cases)
    estate = replace(estate, devices=(LINKED, fetched, CURLEW))

    back = loss_of(KESTREL_GONE, material_of(estate, judged, at=FINISHED)).back

    assert back is not None
    assert back.total_seconds() == pytest.approx(2 * 8497.2 + 5 * 3600, rel=1e-4)


def test_of_two_that_are_to_be_fetched_the_longer_way_counts() -> None:
    near, far = (
        replace(MIRROR, fetch_time=timedelta(hours=1)),
        replace(CURLEW, fetch_time=timedelta(hours=9), link=10**9),
    )
    estate, judged = audited(case("one", LATER, LINKED, near), case("two", LATER, LINKED, far))
    estate = replace(estate, devices=(LINKED, near, far))

    back = loss_of(KESTREL_GONE, material_of(estate, judged, at=FINISHED)).back

    assert back is not None
    assert back.total_seconds() == pytest.approx(2 * 8497.2 + 9 * 3600, rel=1e-4)


def test_of_what_no_rate_is_known_it_is_named_and_in_no_sum() -> None:
    cases = (case("linked", LATER, LINKED, MIRROR), case("far", LATER, CURLEW, HERON, size=1000))
    estate, judged = audited(*cases)
    unlinked = replace(estate, devices=(KESTREL, HERON, CURLEW))

    found = loss_of(KESTREL_GONE, material_of(unlinked, judged, at=FINISHED))

    assert found.not_reckoned == ("linked",)
    assert found.back is None


def test_the_table_begins_with_what_loses_most_and_tells_the_cut_sets_of_all() -> None:
    table = loss_table(laid_out())

    assert [str(loss.domain) for loss in table.losses[:2]] == ["site=station", "site=barn"]
    assert [len(loss.of(Fate.LOST)) for loss in table.losses] == sorted(
        (len(loss.of(Fate.LOST)) for loss in table.losses), reverse=True
    )
    assert {cuts.dataset for cuts in table.cuts} == {one.dataset.id for one in CASES}


def test_one_failure_alone_stands_without_cut_sets() -> None:
    table = loss_alone(site_domain(CURLEW.site), laid_out())

    assert [loss.said for loss in table.losses] == ["the site barn"]
    assert table.cuts == ()
    assert set(table.losses[0].untouched) == {"large", "small", "urgent"}


def test_a_dataset_or_copy_that_was_declared_since_counts_for_nothing() -> None:
    estate, judged = audited(CASES[0])
    added = replace(CASES[0].dataset, copies=(*CASES[0].dataset.copies, Copy(address=an_address("curlew:store/large"))))
    estate = replace(estate, datasets=(added, CASES[3].dataset))

    material = material_of(estate, judged, at=FINISHED)

    assert material.unjudged == ("large at curlew:store/large", "alone")
    assert [dataset.judged.id for dataset in material.datasets] == ["large"]


def test_a_copy_that_is_declared_no_more_is_left_out() -> None:
    estate, judged = audited(CASES[0])
    estate = replace(estate, datasets=(replace(CASES[0].dataset, copies=()),))

    (loss,) = loss_of(KESTREL_GONE, material_of(estate, judged, at=FINISHED)).datasets

    assert loss.fate is Fate.LOST


def test_an_original_that_moved_to_another_volume_is_judged_no_more() -> None:
    estate, judged = audited(CASES[0])
    moved = replace(CASES[0].dataset, original=an_address("curlew:store/large"))

    material = material_of(replace(estate, datasets=(moved,)), judged, at=FINISHED)

    assert material.datasets == ()
    assert material.unjudged == ("large",)


def test_what_a_later_audit_found_worse_counts_for_nothing() -> None:
    material = laid_out(CASES[0], worse_since={DatasetId("large"): Conclusion.NONCONFORMING})

    assert material.datasets == ()
    assert material.unjudged == ("large, which a later audit of some datasets found nonconforming",)
