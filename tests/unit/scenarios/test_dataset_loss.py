"""One dataset when something fails: its fate, the best of what is left, and its policy on that."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.hardware import Drive, Parity, ParityKind
from coverage_audit.estate.model import Attestation, Copy, Device, DeviceId, Estate, Proof
from coverage_audit.evidence.difference import CopyComparison, Exposure, Tally
from coverage_audit.judgement.case import CopyEvidence, DatasetCase
from coverage_audit.judgement.domains import Domain, device_domain, drive_domain, site_domain, volume_domain
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.stakes import stakes_of
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from coverage_audit.scenarios.falling import dataset_loss
from coverage_audit.scenarios.loss import DatasetLoss, Fate
from coverage_audit.scenarios.material import DatasetMaterial, material_of
from tests.builders.cases import (
    a_case,
    a_comparison,
    a_copy,
    a_dated_copy,
    a_gap,
    a_place,
    a_point,
    judged,
    lacking,
    volume_facts,
)
from tests.builders.station import (
    CURLEW,
    FINISHED,
    HELD,
    HERON,
    KESTREL,
    POLICY,
    SEEN,
    STARTED,
    a_device,
    a_volume,
    an_address,
    an_estate,
)

KESTREL_GONE = frozenset({device_domain(DeviceId("kestrel"))})
DAY = timedelta(days=1)


def copy_on(device: Device, **values: Any) -> CopyEvidence:
    declared = Copy(address=an_address(f"{device.volumes[0].key}/it"), **values.pop("declared", {}))
    return a_copy(device, declared, **values)


def behind(files: int, days: int) -> CopyComparison:
    """Lacking some since so many days, none of it excused."""
    found = lacking(files, files * 100)
    return replace(
        found,
        counting=found.missing,
        counting_rows=files,
        earliest_start=STARTED - days * DAY,
        earliest_start_trimmed=STARTED - days * DAY,
    )


def unseen(device: Device) -> CopyEvidence:
    return copy_on(device, comparison=None, tree_at=None, gap=a_gap(str(device.id)))


def material(*copies: CopyEvidence, estate: Estate | None = None, **policy: Any) -> DatasetMaterial:
    case: DatasetCase = a_case(*copies)
    case = replace(case, policy=replace(POLICY, **{"copies": 2, "media": None, "offsite": None, **policy}))
    declared = estate or an_estate(KESTREL, *(copy.place.device for copy in copies))
    declared = replace(declared, datasets=(case.dataset,), policies=(case.policy,))
    (found,) = material_of(declared, judged(case, declared), at=FINISHED).datasets
    return found


def loss(*copies: CopyEvidence, gone: frozenset[Domain] = KESTREL_GONE, **values: Any) -> DatasetLoss:
    found = dataset_loss(material(*copies, **values), gone)
    assert found is not None
    return found


def test_a_proven_copy_that_lacks_nothing_holds_it_as_of_when_both_were_seen() -> None:
    found = loss(copy_on(HERON))

    assert found.fate is Fate.HELD
    assert found.best is not None
    assert (found.best.holds, found.since, found.not_held) == (Holds.ALL, SEEN, Tally())


def test_a_proven_copy_with_something_pending_falls_back_to_when_that_began() -> None:
    pending = replace(
        lacking(2, 20), pending=Tally(files=2, bytes=20), pending_rows=2, earliest_start=SEEN - timedelta(hours=3)
    )
    found = loss(copy_on(HERON, comparison=pending))

    assert found.fate is Fate.FALLS_BACK
    assert found.not_held == Tally(files=2, bytes=20)
    assert found.since == SEEN - timedelta(hours=3)


def test_what_is_stale_is_better_than_nothing_and_told_as_what_it_is() -> None:
    found = loss(copy_on(HERON, comparison=behind(3, 11)))

    assert found.fate is Fate.FALLS_BACK
    assert found.best is not None
    assert found.best.holds is Holds.PART
    assert found.since == STARTED - 11 * DAY
    assert found.conclusion is Conclusion.NONCONFORMING


def test_dated_folders_that_stopped_coming_hold_the_state_of_the_last_one() -> None:
    last = a_point("2026-11-16", STARTED - 9 * DAY)

    found = loss(a_dated_copy(HERON, last))

    assert found.best is not None
    assert (found.best.standing, found.best.holds) == (Standing.STALE, Holds.PART)
    assert (found.fate, found.since) == (Fate.FALLS_BACK, STARTED - 9 * DAY)


def test_dated_folders_that_stopped_coming_and_were_never_looked_into_hold_nothing_for_sure() -> None:
    last = a_point("2026-11-16", STARTED - 9 * DAY)

    found = loss(a_dated_copy(HERON, last, comparison=None, tree_at=None, point=None))

    assert found.left[0].standing is Standing.STALE
    assert (found.fate, found.best) == (Fate.NOT_SHOWN, None)


def test_the_best_is_what_is_proven_then_what_is_newest() -> None:
    old, new = copy_on(HERON, comparison=behind(3, 20)), copy_on(CURLEW, comparison=behind(9, 4))

    found = loss(old, new)
    assert found.best is not None
    assert str(found.best.address) == "curlew:store/it"
    found = loss(copy_on(HERON), new)
    assert found.best is not None
    assert str(found.best.address) == "heron:pool/it"


def test_a_damaged_copy_comes_after_one_that_is_only_old() -> None:
    damaged = replace(
        a_comparison(), content=Tally(files=1, bytes=10), changed=Tally(files=1, bytes=10), earliest_start=SEEN
    )

    found = loss(copy_on(HERON, comparison=damaged), copy_on(CURLEW, comparison=behind(3, 20)))

    assert found.best is not None
    assert str(found.best.address) == "curlew:store/it"


def test_of_a_copy_that_nobody_saw_nothing_is_shown() -> None:
    found = loss(unseen(HERON))

    assert found.fate is Fate.NOT_SHOWN
    assert found.best is None
    assert found.restore is None
    assert [place.holds for place in found.left] == [Holds.NOT_SHOWN]


def test_a_copy_that_was_looked_at_whole_and_is_empty_holds_nothing() -> None:
    empty = replace(behind(HELD.files, 30), same=Tally(), missing=HELD)

    found = loss(copy_on(HERON, comparison=empty))

    assert found.fate is Fate.LOST
    assert [place.holds for place in found.left] == [Holds.NOTHING]


def test_without_any_copy_it_is_lost() -> None:
    case = replace(a_case(), copies=())
    case = replace(
        case, dataset=replace(case.dataset, copies=()), policy=replace(POLICY, copies=1, media=None, offsite=None)
    )
    estate = replace(an_estate(KESTREL), datasets=(case.dataset,), policies=(case.policy,))
    (alone,) = material_of(estate, judged(case, estate), at=FINISHED).datasets

    found = dataset_loss(alone, KESTREL_GONE)

    assert found is not None
    assert (found.fate, found.left, found.below) == (Fate.LOST, (), ())
    assert found.conclusion is Conclusion.NONCONFORMING


def test_a_copy_that_is_not_shown_to_be_apart_from_what_is_gone_may_be_gone_too() -> None:
    hidden = copy_on(HERON, place=a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid=None)))

    found = loss(hidden)

    assert found.fate is Fate.NOT_SHOWN
    assert "not shown to be apart" in found.left[0].why


def test_what_may_be_gone_counts_as_no_proven_copy_any_more() -> None:
    hidden = copy_on(HERON, place=a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid=None)))

    found = loss(hidden, copies=1)

    assert found.conclusion is not Conclusion.CONFORMING
    assert "enough-copies" in {one.finding.rule for one in found.below}


def test_two_volumes_on_one_drive_are_lost_together() -> None:
    other = a_volume("kestrel:data")
    box = replace(KESTREL, volumes=(*KESTREL.volumes, other))
    seen = volume_facts(other, drives=frozenset({"serial-kestrel:main"}))
    place = replace(a_place(replace(box, volumes=(other,)), volume_facts=seen), device=box)
    copy = a_copy(box, Copy(address=an_address("kestrel:data/it")), place=place)

    found = loss(copy, estate=an_estate(box), gone=frozenset({volume_domain(other.key)}))

    assert found.fate is Fate.LOST
    assert {str(place.address) for place in found.gone} == {"kestrel:main/recordings", "kestrel:data/it"}


def test_an_original_that_is_not_shown_to_be_apart_from_a_copy_that_is_gone_may_be_gone_too() -> None:
    word = Attestation(other=CURLEW.id, statement="The barn is across the bay")
    heron = replace(HERON, attested_apart=(word,))
    hidden = copy_on(heron, place=a_place(heron, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid=None)))

    found = loss(hidden, copy_on(CURLEW), gone=frozenset({device_domain(HERON.id)}))

    assert found.fate is Fate.HELD
    assert found.original_gone
    assert found.best is not None
    assert str(found.best.address) == "curlew:store/it"


def test_what_is_shown_to_be_one_with_an_array_is_lost_with_too_many_of_its_drives() -> None:
    array = replace(HERON.volumes[0], drives=(Drive(size=10**12),) * 2, parity=Parity(kind=ParityKind.MIRROR))
    heron = replace(HERON, volumes=(array,))
    both = frozenset(drive_domain(array.key, number) for number in (1, 2))
    one = a_place(heron, volume_facts=volume_facts(array, filesystem_uuid="uuid-kestrel:main"))
    hidden = a_place(heron, volume_facts=volume_facts(array, filesystem_uuid=None))

    assert loss(copy_on(heron, place=one), gone=both).fate is Fate.LOST
    assert loss(copy_on(heron, place=hidden), gone=both).fate is Fate.NOT_SHOWN
    assert loss(copy_on(heron), gone=both).fate is Fate.TOUCHED


def test_what_a_box_only_mounts_may_be_lost_with_any_volume_of_the_box_that_serves_it() -> None:
    word = Attestation(other=KESTREL.id, statement="Nothing of kestrel's is on it")
    curlew = replace(CURLEW, attested_apart=(word,))
    served = volume_facts(
        CURLEW.volumes[0], filesystem_uuid=None, mount_source="heron.example:/srv", drives=frozenset()
    )
    served = replace(served, filesystem_type="nfs4")
    share = copy_on(curlew, place=a_place(curlew, volume_facts=served))
    heron = frozenset({volume_domain(HERON.volumes[0].key)})

    assert [place.holds for place in loss(copy_on(HERON), share, gone=heron).left] == [Holds.ALL, Holds.NOT_SHOWN]


def test_a_guest_may_be_lost_with_any_volume_of_its_host_until_it_says_on_which_it_is_stored() -> None:
    host = a_device("host", a_volume("host:fast"))
    guest = a_device("avocet", a_volume("avocet:images"), runs_on=host.id)
    estate = an_estate(KESTREL, host, guest)
    stored = replace(guest, volumes=(replace(guest.volumes[0], stored_on=host.volumes[0].key),))
    gone = frozenset({volume_domain(host.volumes[0].key)})

    (_, left) = loss(copy_on(guest), estate=estate, gone=gone).left
    assert (left.holds, left.why) == (Holds.NOT_SHOWN, "avocet runs on host, on which of its volumes is not shown")
    found = loss(copy_on(stored), estate=an_estate(KESTREL, host, stored), gone=gone)
    assert [str(place.address) for place in found.gone] == ["avocet:images/it"]


def test_a_mirror_that_shows_more_than_one_drive_holds_may_be_lost_with_any_of_them() -> None:
    pool = replace(HERON.volumes[0], drives=(Drive(size=4 * 10**12),) * 3, parity=Parity(kind=ParityKind.MIRROR))
    heron = replace(HERON, volumes=(pool,))
    two_copies = a_place(heron, volume_facts=volume_facts(pool, capacity=6 * 10**12))
    first = frozenset({drive_domain(pool.key, 1)})

    assert [p.holds for p in loss(copy_on(heron, place=two_copies), gone=first).left] == [Holds.ALL, Holds.NOT_SHOWN]
    assert dataset_loss(material(copy_on(heron, place=a_place(heron))), first) is None


def test_a_copy_is_lost_with_the_box_of_another_dataset_that_shows_the_same_filesystem() -> None:
    found = material(copy_on(HERON))
    other = a_device("bittern", a_volume("bittern:disk"))
    context = replace(found.context, estate=an_estate(KESTREL, HERON, other))
    seen = a_place(other, volume_facts=volume_facts(other.volumes[0], filesystem_uuid="uuid-heron:pool"))
    mounted = a_place(
        other,
        volume_facts=volume_facts(
            other.volumes[0], filesystem_uuid="uuid-heron:pool", filesystem_type="nfs4", mount_source="heron:/srv/pool"
        ),
    )
    gone = frozenset({device_domain(other.id)})

    assert stakes_of(context, [seen])[1].lost_by(gone)
    assert not stakes_of(context, [mounted])[1].lost_by(gone)
    assert not stakes_of(context)[1].lost_by(gone)


def test_a_copy_whose_last_key_is_gone_holds_nothing_any_more() -> None:
    locked = replace(CURLEW, volumes=(replace(CURLEW.volumes[0], encrypted=True, key_kept=("kestrel",)),))

    found = loss(copy_on(locked, place=a_place(locked)))

    assert found.fate is Fate.LOST
    assert [(str(place.address), place.key_gone) for place in found.gone] == [
        ("kestrel:main/recordings", False),
        ("curlew:store/it", True),
    ]


def loose(name: str, *key_kept: str) -> Device:
    """A drive on the shelf at the barn that is encrypted as a whole."""
    volume = a_volume(f"{name}:drive", encrypted=True, key_kept=key_kept)
    return a_device(name, volume, access=ShelfAccess(), site=CURLEW.site)


def test_a_key_on_a_loose_drive_is_lost_with_the_key_to_that_drive() -> None:
    chest = loose("chest", "kestrel")
    locked = replace(CURLEW, volumes=(replace(CURLEW.volumes[0], encrypted=True, key_kept=("chest",)),))

    found = loss(copy_on(locked, place=a_place(locked)), estate=an_estate(KESTREL, locked, chest))

    assert found.fate is Fate.LOST
    assert [place.key_gone for place in found.gone] == [False, True]


def test_a_loose_drive_that_keeps_its_own_key_is_not_shown_to_be_of_any_use() -> None:
    drive = loose("shelf-b", "shelf-b")

    found = loss(copy_on(drive, place=a_place(drive)), estate=an_estate(KESTREL, drive))

    assert found.fate is Fate.NOT_SHOWN


def test_a_place_that_can_give_no_key_does_not_keep_it() -> None:
    shut = loose("chest", "chest")
    locked = replace(CURLEW, volumes=(replace(CURLEW.volumes[0], encrypted=True, key_kept=("kestrel", "chest")),))

    found = loss(copy_on(locked, place=a_place(locked)), estate=an_estate(KESTREL, locked, shut))

    assert found.fate is Fate.LOST


def test_while_the_original_is_left_its_copies_are_only_counted() -> None:
    found = loss(copy_on(HERON), copy_on(CURLEW), gone=frozenset({device_domain(HERON.id)}), copies=3)

    assert found.fate is Fate.TOUCHED
    assert {one.finding.rule for one in found.below} == {"enough-copies"}
    assert all(one.is_new for one in found.below)


def test_a_policy_that_still_holds_is_not_below() -> None:
    found = loss(copy_on(HERON), copy_on(CURLEW), gone=frozenset({device_domain(HERON.id)}))

    assert found.below == ()
    assert found.conclusion is Conclusion.CONFORMING


def test_what_stands_in_for_the_original_is_named_as_that() -> None:
    found = loss(copy_on(CURLEW), copies=2)

    (enough,) = (one.finding.message for one in found.below if one.finding.rule == "enough-copies")
    assert "curlew:store/it (in place of the original)" in enough


def test_elsewhere_is_reckoned_from_where_it_comes_back() -> None:
    found = loss(copy_on(CURLEW), copy_on(HERON), offsite=1, gone=frozenset({site_domain(CURLEW.site)}))
    assert {one.finding.rule for one in found.below} == {"offsite"}

    found = loss(copy_on(CURLEW), offsite=1, gone=frozenset({site_domain(KESTREL.site)}))
    assert "offsite" in {one.finding.rule for one in found.below}, "nothing is elsewhere than where it comes back"


def test_what_failed_already_is_told_from_what_fails_then() -> None:
    found = loss(copy_on(HERON), copy_on(CURLEW), gone=frozenset({device_domain(HERON.id)}), copies=4)

    (enough,) = (one for one in found.below if one.finding.rule == "enough-copies")
    assert enough.before is Answer.NONCONFORMITY
    assert not enough.is_new


def test_what_no_copy_holds_is_known_where_every_copy_is_left() -> None:
    def exposed(copy: CopyEvidence) -> Exposure | None:
        case = replace(a_case(copy), exposure=Exposure(files=4, bytes=40))
        estate = replace(an_estate(KESTREL, HERON), datasets=(case.dataset,), policies=(case.policy,))
        (one,) = material_of(estate, judged(case, estate), at=FINISHED).datasets
        found = dataset_loss(one, KESTREL_GONE)
        assert found is not None
        return found.exposed

    hidden = a_place(HERON, volume_facts=volume_facts(HERON.volumes[0], filesystem_uuid=None))
    assert exposed(copy_on(HERON)) == Exposure(files=4, bytes=40)
    assert exposed(copy_on(HERON, place=hidden)) is None, "it may be gone, too"


def test_of_a_copy_that_is_known_by_dates_alone_what_it_lacks_is_not_known() -> None:
    point = a_point("2026-11-25", SEEN - timedelta(hours=5))
    dated = replace(a_dated_copy(HERON, point), comparison=None, tree_at=None)
    dated = replace(dated, copy=replace(dated.copy, proof=Proof.DATED))

    found = loss(dated)

    assert found.fate is Fate.FALLS_BACK
    assert found.not_held is None
    assert found.since == SEEN - timedelta(hours=5)
