"""The page of what is lost as text: complete, self-contained, harmless, and never better than what was shown."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.changes import ChangeKind, EstateChange
from coverage_audit.estate.model import DatasetId, DeviceId
from coverage_audit.evidence.difference import Exposure, Tally
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.verdict import Standing
from coverage_audit.reckoning.uploading import upload
from coverage_audit.reports.loss_page import loss_page
from coverage_audit.scenarios.link_load import LinkLoad
from coverage_audit.scenarios.loss import Fate, Loss, LossTable
from tests.builders.judged import NOW
from tests.builders.losses import (
    a_dataset_loss,
    a_large_table,
    a_place_left,
    a_restore,
    a_table,
    account_gone,
    barn_gone,
    drive_gone,
    hostile_table,
    hut_gone,
    kestrel_gone,
    some_cuts,
    the_estate,
)
from tests.builders.page_reader import (
    assert_audible,
    assert_harmless,
    assert_links_lead_somewhere,
    assert_quoted,
    text_of,
)

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>\x1b[2J\n\u202e\udcff'


def page_of(*losses: Loss) -> str:
    return loss_page(a_table(*losses), the_estate())


def read(*losses: Loss) -> str:
    return text_of(page_of(*losses))


def hostile_page() -> str:
    return loss_page(hostile_table(HOSTILE), the_estate())


PAGES: dict[str, Callable[[], str]] = {
    "all": page_of,
    "one": lambda: page_of(kestrel_gone()),
    "hostile": hostile_page,
}


@pytest.mark.parametrize("name", PAGES)
def test_nothing_in_it_runs_or_fetches(name: str) -> None:
    assert_harmless(PAGES[name]())


@pytest.mark.parametrize("name", PAGES)
def test_landmarks_headings_tables_and_links_are_as_on_every_page(name: str) -> None:
    page = PAGES[name]()
    assert_audible(page)
    assert_links_lead_somewhere(page)
    assert_quoted(page)


def test_hostile_names_are_text_and_visible() -> None:
    page = hostile_page()
    page.encode("utf-8")
    assert all(line.isprintable() for line in page.replace("\t", " ").split("\n"))
    assert r"\x1b[2J\n\u{202E}\xff" in page
    assert "<script" not in page


def test_it_begins_with_what_single_failures_do_and_with_what_it_rests_on() -> None:
    text = read()

    assert "3 of 5 single failures lose a dataset whole." in text
    assert "This rests on the audit that began 2026-11-25 04:10 GMT , 2 h 21 min ago." in text
    assert "The audit behind this began" not in text


@pytest.mark.parametrize(
    ("losses", "said"),
    [
        ((hut_gone(),), "With the room hut gone 2 datasets are lost whole."),
        ((barn_gone(),), "With the site Long Barn gone 1 dataset loses a copy and keeps its original."),
        ((barn_gone(), barn_gone()), "None of 2 single failures loses a dataset whole."),
        ((hut_gone(), barn_gone()), "1 of 2 single failures loses a dataset whole."),
    ],
)
def test_the_first_sentence_says_the_worst(losses: tuple[Loss, ...], said: str) -> None:
    distinct = [replace(loss, said=loss.said) for loss in losses]
    names = [replace(loss.domain, name=f"{loss.domain}{number or ''}") for number, loss in enumerate(distinct)]

    assert said in read(*(replace(loss, domain=name) for loss, name in zip(distinct, names, strict=True)))


def test_what_is_not_shown_to_be_held_is_never_told_as_held() -> None:
    left = a_place_left("shelf-b", "ledgers", standing=Standing.UNVERIFIED, holds=Holds.NOT_SHOWN, age=None)
    unshown = replace(barn_gone(), datasets=(a_dataset_loss("ledgers", Fate.NOT_SHOWN, left=(left,)),))
    other = replace(unshown, domain=hut_gone().domain)

    one, both = read(unshown), read(unshown, other)

    assert "With the site Long Barn gone of 1 dataset nothing shows that anything is left." in one
    assert "Of 2 single failures none surely loses a dataset; after 2 of them nothing shows" in both
    assert "Nothing shows that what is left holds anything: shelf-b:drive/ledgers" in one
    assert "may hold it, not shown" in one


def test_an_old_audit_is_the_first_that_one_reads() -> None:
    table = replace(a_table(), at=NOW + timedelta(days=5))

    text = text_of(loss_page(table, the_estate()))

    begun = text.index("The audit behind this began 5 days ago; nothing since is proven.")
    assert begun < text.index("3 of 5 single failures")


def test_what_was_declared_since_is_said_to_be_unknown() -> None:
    changes = [EstateChange(kind=ChangeKind.CAME, part="device", name=f"curlew-{number}") for number in range(7)]

    text = text_of(loss_page(a_table(), the_estate(), changes))

    assert "Of what was declared since that audit nothing is known: device curlew-0 " in text
    assert "; and 2 more." in text
    assert "declared since" not in read()


def test_what_the_audit_did_not_judge_is_named_and_counts_for_nothing() -> None:
    text = text_of(loss_page(a_table(unjudged=("bird-counts",)), the_estate()))

    assert "so that it counts for nothing here: bird-counts." in text


def test_each_dataset_says_where_it_comes_back_from_how_far_back_and_how_long_it_takes() -> None:
    text = read(kestrel_gone())

    for words in (
        "herbarium falls back 18 204 files (212 GB) curlew:store/nightly/herbarium",
        "Long Barn, copy, stale: holds part of it, or an older state",
        "its key is kept at Long Barn and heron (Field station)",
        "2026-11-16 04:31 GMT 9 days 2 h ago; lacks 311 files (4.8 GB)",
        "about 4 h 32 min what was measured of curlew:store; 3 h to fetch it allowed: 12 h",
        "at least 30 min the link of heron",
        "ledgers lost 18 204 files (212 GB) No place is left.",
        "lacks nothing that was seen",
        "the original stays",
        "avocet (runs on kestrel)",
        "In this order: field-recordings, herbarium, tide-gauges,",
        "without old-maps, of which no time is known",
        "1 other dataset is not touched.",
    ):
        assert words in text


def test_a_state_that_is_not_known_is_said_to_be_so() -> None:
    best = a_place_left("curlew", "ledgers", holds=Holds.PART, standing=Standing.DAMAGED, age=None)
    falls = a_dataset_loss("ledgers", Fate.FALLS_BACK, best=best, restore=a_restore(best.address))
    falls = replace(falls, not_held=None)

    text = read(replace(barn_gone(), datasets=(falls,)), hut_gone())

    assert "not known what it lacks is not known" in text
    assert re.search(r"site=barn the site Long Barn 0 0 1 0 0 0 not known", text)


def test_a_place_whose_key_is_gone_is_not_called_a_copy_that_holds_something() -> None:
    locked = replace(a_place_left("curlew", "ledgers", encrypted=True, key_kept=("kestrel",)), key_gone=True)

    text = read(replace(barn_gone(), datasets=(a_dataset_loss("ledgers", Fate.NOT_SHOWN, left=(locked,)),)))

    assert "encrypted, and every place of its key is gone" in text


def test_with_a_site_go_the_keys_that_are_kept_there() -> None:
    best = a_place_left("heron", "ledgers", encrypted=True, key_kept=("barn",))

    text = read(replace(barn_gone(), datasets=(a_dataset_loss("ledgers", best=best),)))

    assert "holds all of the original; its key is gone" in text


def test_a_key_that_goes_with_the_box_is_told_of() -> None:
    text = text_of(loss_page(hostile_table("hut"), the_estate()))

    assert "A key of shelf-b:drive is kept there; it is also kept at hut." in text
    assert "The only declared key of heron:pool is gone with it: what is encrypted there is lost." in text


def test_what_an_account_cannot_erase_is_named() -> None:
    assert (
        read(account_gone()).count("With all erased that the admin account warden can write to 1 dataset is lost") == 1
    )
    assert "Survives it: shelf-b:drive (kept offline), curlew:store (immutable)." in read(account_gone())


def test_only_what_holds_now_and_would_not_then_counts_as_newly_below_policy() -> None:
    loss = kestrel_gone()
    known = tuple(
        replace(one, below=tuple(replace(each, before=each.finding.answer) for each in one.below))
        for one in loss.datasets
    )

    assert "kestrel the device kestrel 1 1 1 6 1 3 9 days" in read(loss, hut_gone())
    text = read(replace(loss, datasets=known), hut_gone())
    assert "kestrel the device kestrel 1 1 1 6 1 0 9 days" in text
    assert "As it is now, too: copies" in text


def test_a_copy_that_is_shown_to_be_empty_is_not_told_as_one_that_may_hold_something() -> None:
    empty = a_place_left("heron", "ledgers", standing=Standing.INCOMPLETE, holds=Holds.NOTHING, age=None)
    lost = a_dataset_loss("ledgers", Fate.LOST, left=(empty,))

    text = read(replace(barn_gone(), datasets=(lost,)))

    assert "What is left holds nothing of it: heron:pool/ledgers Field station, copy, incomplete: holds nothing" in text
    assert "Nothing shows" not in text


def test_a_measured_rate_of_something_that_has_to_be_fetched_first_is_still_a_least() -> None:
    best = a_place_left("curlew", "ledgers")
    restore = replace(a_restore(best.address, measured=True), shown=False)

    assert "at least 1 h 32 min" in read(
        replace(barn_gone(), datasets=(a_dataset_loss("ledgers", best=best, restore=restore),))
    )
    assert "about 4 h 32 min" in read(kestrel_gone())


def test_a_time_of_which_nothing_is_known_is_not_the_time_of_nothing() -> None:
    unknown = replace(barn_gone(), back=None, order=(DatasetId("ledgers"),), not_reckoned=(DatasetId("ledgers"),))
    nothing = replace(barn_gone(), back=None)

    assert "How long it takes is not known : neither a link nor a drill tells how fast" in read(unknown)
    assert "How long it takes" not in read(nothing)
    assert "not known" not in read(nothing, replace(nothing, domain=hut_gone().domain))


def test_a_dataset_that_two_failures_lose_survives_any_one_of_them() -> None:
    cuts = replace(some_cuts(), sets=some_cuts().sets[1:])

    assert "ledgers survives any one failure kestrel and heron" in text_of(
        loss_page(a_table(cuts=(cuts,)), the_estate())
    )


def test_what_patterns_leave_out_is_said_to_be_lost_with_the_original_alone() -> None:
    best = a_place_left("heron", "mirror")
    left_out = Tally(files=12, bytes=88_000)
    gone = replace(a_dataset_loss("ledgers", best=best), left_out=left_out)
    stays = replace(a_dataset_loss("ledgers", Fate.TOUCHED, best=best), left_out=left_out)

    assert "what its patterns leave out is lost: 12 files (88.0 kB)" in read(replace(barn_gone(), datasets=(gone,)))
    assert "patterns" not in read(replace(barn_gone(), datasets=(stays,)))


def test_files_that_no_copy_holds_are_counted() -> None:
    best = a_place_left("heron", "mirror")
    exposed = replace(a_dataset_loss("ledgers", best=best), exposed=Exposure(files=12, bytes=9))

    assert "12 files are held by no copy at all" in read(replace(barn_gone(), datasets=(exposed,)))


def test_the_smallest_sets_are_named_with_what_else_is_enough_the_weakest_dataset_first() -> None:
    text = read()

    told = ("tide-gauges nothing shows", "ledgers lost by one failure", "weather survives any three failures")
    order = [text.index(words) for words in told]
    assert order == sorted(order)
    assert "room=hut (or site=station) kestrel and heron kestrel and 2 of heron:pool#1, heron:pool#2," in text
    assert "Not counted, for nothing shows that it holds anything: shelf-b:drive/ledgers" in text
    assert "survives any three failures at once" in text
    assert "nothing shows that any place holds it" in text


def test_a_drive_out_has_its_figures_in_both_units_its_bounds_and_what_they_assume() -> None:
    text = read(drive_gone())

    for words in (
        "With drive 3 of heron:pool gone no dataset loses anything.",
        "Until the drive is made up, no copy elsewhere is proven of ledgers and old-maps.",
        "Usable 24.0 TB (21.83 TiB)",
        "Usable, replaced 28.0 TB (25.47 TiB)",
        "Until it is made up it stands no further loss",
        "A rebuild reads 20.0 TB (18.19 TiB) and writes 8.0 TB (7.28 TiB)",
        "Something cannot be read at most 79.9 %",  # 79.81 %: a bound is never rounded down
        "Such a loss in any year at most 38.4 %",
        "Drive 1 (12.0 TB): 6.2 years, past 5 years of service. Drive 2 (12.0 TB): since when it runs is not declared.",
        "old-maps at heron:pool/maps : size not known: none is proven",
        "(the worst that datasheets allow), each by itself.",
    ):
        assert words in text


def test_a_drive_of_what_stands_no_loss_takes_all_with_it() -> None:
    loss = drive_gone()
    assert loss.drive is not None
    text = read(replace(loss, drive=replace(loss.drive, risk=None)))

    assert "Meanwhile all that is on it is lost: it stands no loss" in text
    assert "A rebuild" not in text


def test_drives_that_can_be_no_array_are_said_to_be_none() -> None:
    loss = drive_gone()
    assert loss.drive is not None
    wrong = replace(loss.drive.array, wrong="a mirror needs at least two drives")

    text = read(replace(loss, drive=replace(loss.drive, array=wrong, replaced=None, risk=None)))

    assert "no such array can be: a mirror needs at least two drives" in text
    assert "it stands" not in text


def test_an_estate_without_anything_to_lose_says_so() -> None:
    table: LossTable = replace(a_table(cuts=()), losses=())

    assert "Nothing that could be lost is declared." in text_of(loss_page(table, the_estate()))


def test_what_links_have_to_carry_is_said_with_whether_it_fits() -> None:
    estate = the_estate()
    curlew = replace(estate.device(DeviceId("curlew")), link=40_000_000)
    fits = LinkLoad(
        device=curlew,
        datasets=(DatasetId("ledgers"),),
        upload=upload(device="curlew", link=40_000_000, change=3 * 10**9, whole=2 * 10**12),
        unsized=(),
        ungauged=(),
    )
    unknown = replace(fits, ungauged=(DatasetId("ledgers"),))

    text = text_of(loss_page(a_table(), estate, (), (fits, unknown)))

    assert "fits curlew (Long Barn, 40 Mbit/s): a day's growth of 3.0 GB takes at least 10 min of each day" in text
    assert "cannot be told curlew (Long Barn, 40 Mbit/s): a day's growth of 3.0 GB takes at least 10 min; how" in text
    assert "What links between sites" not in read()


def test_a_rehearsal_is_stamped() -> None:
    page = loss_page(replace(a_table(), rehearsal=True), the_estate())

    assert "places, media and sites as declared" in page


def test_sixty_datasets_in_forty_failures_stay_a_page() -> None:
    page = loss_page(a_large_table(), the_estate())

    assert len(page) < 12_000_000
    assert_links_lead_somewhere(page)
    assert DatasetId("herbarium-59") in page
