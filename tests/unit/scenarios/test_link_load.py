"""What each declared link has to carry between sites, and that nothing unknown is taken to fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from coverage_audit.estate.model import Copy, Dataset, DatasetId, Estate, PolicyId
from coverage_audit.reckoning.links import carried
from coverage_audit.reports.link_words import fits_said, link_said
from coverage_audit.scenarios.link_load import Growth, link_loads
from tests.builders.judged import address, an_estate

GB = 10**9
MBIT = 10**6


def largest_change(link: int) -> int:
    """Return how many whole bytes a link carries in a day."""
    return int(carried(link) * 86_400)


def growths(**known: tuple[int | None, int | None]) -> Mapping[DatasetId, Growth]:
    return {DatasetId(name): Growth(size=size, a_day=a_day) for name, (size, a_day) in known.items()}


def station(*datasets: Dataset, **links: int) -> Estate:
    """The station (kestrel and heron) and the barn (curlew and shelf-b), with links in bits a second."""
    estate = an_estate()
    devices = tuple(replace(device, link=links.get(str(device.id).replace("-", "_"))) for device in estate.devices)
    return replace(estate, devices=devices, datasets=datasets)


def kept(name: str, *copies: str, original: str = "kestrel", taken_from: str | None = None) -> Dataset:
    return Dataset(
        id=DatasetId(name),
        policy=PolicyId("irreplaceable"),
        original=address(original, name),
        copies=tuple(
            Copy(address=address(device, name), taken_from=address(taken_from, name) if taken_from else None)
            for device in copies
        ),
    )


def test_a_link_carries_what_goes_to_another_site_and_not_what_stays() -> None:
    estate = station(kept("maps", "heron", "curlew"), kept("ledgers", "heron"), curlew=40 * MBIT, heron=1000 * MBIT)

    (load,) = link_loads(estate, growths(maps=(100 * GB, GB), ledgers=(5 * GB, GB)))

    assert load.device.id == "curlew"
    assert load.datasets == ("maps",)
    assert (load.upload.change, load.upload.whole, load.fits) == (GB, 100 * GB, True)


def test_both_ends_of_a_way_are_links_and_the_fuller_comes_first() -> None:
    estate = station(kept("maps", "curlew"), curlew=1000 * MBIT, kestrel=40 * MBIT)

    loads = link_loads(estate, growths(maps=(100 * GB, GB)))

    assert [load.device.id for load in loads] == ["kestrel", "curlew"]


def test_a_copy_that_is_made_of_another_copy_comes_from_there() -> None:
    estate = station(kept("maps", "curlew", taken_from="heron"), kestrel=40 * MBIT, heron=40 * MBIT)

    loads = link_loads(estate, growths(maps=(100 * GB, GB)))

    assert [load.device.id for load in loads] == ["heron"]


def test_a_drive_that_is_carried_goes_through_no_link() -> None:
    estate = station(kept("maps", "shelf-b"), kestrel=40 * MBIT, shelf_b=40 * MBIT)

    assert link_loads(estate, growths(maps=(100 * GB, GB))) == ()


def test_all_that_goes_through_one_link_adds_up() -> None:
    most = largest_change(40 * MBIT)
    estate = station(kept("maps", "curlew"), kept("ledgers", "curlew"), curlew=40 * MBIT)

    (fits,) = link_loads(estate, growths(maps=(GB, most // 2), ledgers=(GB, most // 2)))
    (over,) = link_loads(estate, growths(maps=(GB, most // 2 + 2), ledgers=(GB, most // 2)))

    assert (fits.fits, over.fits) == (True, False)
    assert over.upload.first is None


@pytest.mark.parametrize("growth", [(100 * GB, None), (None, None)])
def test_what_is_not_known_to_grow_slowly_is_not_said_to_fit(growth: tuple[int | None, int | None]) -> None:
    estate = station(kept("maps", "curlew"), kept("ledgers", "curlew"), curlew=40 * MBIT)

    (load,) = link_loads(estate, growths(maps=growth, ledgers=(GB, GB)))
    (unseen,) = link_loads(estate, growths(ledgers=(GB, GB)))

    assert load.fits is None
    assert load.ungauged == ("maps",)
    assert unseen.fits is None
    assert unseen.unsized == ("maps",)


def test_what_does_not_fit_without_the_unknown_does_not_fit_with_it() -> None:
    estate = station(kept("maps", "curlew"), kept("ledgers", "curlew"), curlew=MBIT)

    (load,) = link_loads(estate, growths(maps=(GB, 100 * GB)))

    assert load.fits is False


def test_it_is_said_with_its_units() -> None:
    estate = station(kept("maps", "curlew"), curlew=40 * MBIT)

    (load,) = link_loads(estate, growths(maps=(2000 * GB, 3 * GB)))

    assert link_said(load, estate) == (
        "curlew (Long Barn, 40 Mbit/s): a day's growth of 3.0 GB takes at least 10 min of each day: it fits. "
        "A first copy of all, 2.0 TB, takes at least 4 days 22 h."
    )
    assert fits_said(load) == "fits"


def test_what_does_not_fit_and_what_cannot_be_told_are_said_to_be_so() -> None:
    estate = station(kept("maps", "curlew"), curlew=MBIT)

    (over,) = link_loads(estate, growths(maps=(2000 * GB, 30 * GB)))
    (unknown,) = link_loads(estate, {})

    assert link_said(over, estate) == (
        "curlew (Long Barn, 1 Mbit/s): a day's growth of 30.0 GB takes at least 2 days 22 h, more than the day has: it"
        " does not fit. A first copy of all would never be done."
    )
    assert link_said(unknown, estate) == (
        "curlew (Long Barn, 1 Mbit/s): how fast maps grows is not known yet, so whether it fits cannot be told."
    )
    assert (fits_said(over), fits_said(unknown)) == ("does not fit", "cannot be told")
