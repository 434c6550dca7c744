"""The auditor's own sheet as text: what it takes to rebuild it from nothing, and nothing that was not shown."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Copy, Dataset, DatasetId, Estate, Kept, PolicyId
from coverage_audit.evidence.facts import DeviceFacts
from coverage_audit.evidence.own import OwnPart, OwnPlace
from coverage_audit.judgement.verdict import JudgedEstate, Standing
from coverage_audit.reports.auditor_sheet import auditor_sheet
from tests.builders.judged import address
from tests.builders.own_sheet import MADE, OWN, TEXT, audited, station, the_own_sheet
from tests.builders.page_reader import (
    Seen,
    assert_audible,
    assert_harmless,
    assert_links_lead_somewhere,
    assert_quoted,
    text_of,
)

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>\x1b[2J\u202e\udcff'


def read(audit: JudgedEstate | None = None) -> str:
    return text_of(the_own_sheet(audit))


def sheet(estate: Estate, audit: JudgedEstate | None) -> str:
    return text_of(auditor_sheet(estate, OWN, audit, now=MADE, version="0.6.0"))


def hostile_page() -> str:
    own = replace(OWN, places=(*OWN.places, OwnPlace(part=OwnPart.KEYS, path=f"/srv/main/{HOSTILE}")))
    audit = audited(Standing.PROVEN)
    estate = replace(
        station(audit, text=f"estate: {HOSTILE}\n# {HOSTILE}\n"),
        name=HOSTILE,
        alive=Kept(url_env=HOSTILE),
    )
    return auditor_sheet(estate, own, audit, now=MADE, version=HOSTILE)


@pytest.mark.parametrize("page", [the_own_sheet(), hostile_page()], ids=["station", "hostile"])
def test_it_is_a_page_like_every_other(page: str) -> None:
    assert_harmless(page)
    assert_audible(page)
    assert_links_lead_somewhere(page)
    assert_quoted(page)
    assert all(line.isprintable() for line in page.replace("\t", " ").split("\n"))


def test_each_of_its_own_files_has_its_place_and_the_best_copy_elsewhere() -> None:
    text = read()

    assert "ledger /srv/main/auditor/seed /srv/main/auditor/dump curlew, /srv/store/auditor (Long Barn)" in text
    assert "of 2026-11-24 08:31 GMT , proven" in text
    assert "estate /srv/main/auditor/estate.yaml curlew, /srv/store/auditor (Long Barn)" in text
    assert "keys /home/warden/.ssh/id_ed25519 none it belongs to no dataset Make new ones" in text


@pytest.mark.parametrize("standing", [Standing.DAMAGED, Standing.UNVERIFIED])
def test_a_copy_that_is_not_shown_to_hold_it_is_no_way_back(standing: Standing) -> None:
    text = read(audited(standing))

    assert "none no copy of auditor elsewhere is shown" in text
    assert "/srv/pool/auditor" not in text


def test_a_proven_copy_goes_before_a_newer_one_that_has_a_hole() -> None:
    text = read(audited(Standing.PROVEN, Standing.INCOMPLETE))

    assert "heron, /srv/pool/auditor (Field station)" in text
    assert "curlew, /srv/store/auditor" not in text


def test_a_copy_on_the_auditors_own_machine_is_gone_with_it() -> None:
    audit = audited(Standing.PROVEN)
    estate = station(audit)
    here = tuple(replace(device, access=LocalAccess()) if device.id == "heron" else device for device in estate.devices)

    assert "none no copy of auditor elsewhere is shown" in sheet(replace(estate, devices=here), audit)


def test_a_copy_that_is_declared_no_more_is_not_named() -> None:
    audit = audited(Standing.PROVEN)
    estate = station(audit)
    bare = tuple(replace(dataset, copies=()) for dataset in estate.datasets)

    assert "none no copy of auditor elsewhere is shown" in sheet(replace(estate, datasets=bare), audit)


def test_without_an_audit_nothing_is_shown() -> None:
    text = sheet(station(None), None)

    assert "No audit is on record: of its copies nothing is shown." in text
    assert "none no copy of auditor elsewhere is shown" in text


def test_an_old_audit_is_said_to_be_old() -> None:
    audit = audited(Standing.PROVEN)

    late = text_of(auditor_sheet(station(audit), OWN, audit, now=MADE + timedelta(days=9), version="0.6.0"))

    assert "9 days 2 h ago: look at the copies before you rely on this." in late
    assert "look at the copies before" not in read()


def test_an_encrypted_copy_says_where_its_key_is_and_never_that_it_is_with_the_auditor() -> None:
    audit = audited(Standing.PROVEN)

    def keyed(*keepers: str) -> str:
        (dataset,) = audit.datasets
        (copy,) = dataset.copies
        declared = Copy(address=copy.address, encrypted=True, key_kept=keepers)
        found = replace(copy, evidence=replace(copy.evidence, copy=declared))
        held = replace(audit, datasets=(replace(dataset, copies=(found,)),))
        return sheet(station(held), held)

    assert "encrypted: its key is kept at Long Barn" in keyed("barn", "kestrel")
    assert "encrypted: a key that it needs is not declared to be kept elsewhere" in keyed("kestrel")
    assert "encrypted: a key that it needs is not declared to be kept elsewhere" in keyed()
    assert "encrypted" not in read()


def test_what_is_spread_over_several_datasets_is_not_sent_back_from_one() -> None:
    audit = audited(Standing.PROVEN)
    estate = station(audit)
    other = Dataset(
        id=DatasetId("seeds"), policy=PolicyId("irreplaceable"), original=address("kestrel", "seeds"), copies=()
    )
    own = replace(OWN, places=(*OWN.places, OwnPlace(part=OwnPart.LEDGER, path="/srv/main/seeds/seed")))

    spread = text_of(
        auditor_sheet(replace(estate, datasets=(*estate.datasets, other)), own, audit, now=MADE, version="0.6.0")
    )

    assert "none it is spread over auditor, seeds: bring each back by its own sheet" in spread


def test_a_ledger_whose_database_no_dataset_holds_is_not_called_held() -> None:
    own = replace(OWN, database=OwnPlace(part=OwnPart.LEDGER, path="/var/lib/ledger.db"), dumped=None)

    text = text_of(the_own_sheet(None, own))

    assert "ledger /srv/main/auditor/seed /var/lib/ledger.db none some of it belongs to no dataset" in text


def test_every_box_has_the_way_to_it_and_the_key_that_it_showed() -> None:
    audit = audited(Standing.PROVEN)
    (dataset,) = audit.datasets
    (copy,) = dataset.copies
    place = copy.evidence.place
    assert isinstance(place.device_facts, DeviceFacts)
    facts = replace(place.device_facts, host_key="SHA256:q1w2e3")
    shown = replace(copy, evidence=replace(copy.evidence, place=replace(place, device_facts=facts)))
    held = replace(audit, datasets=(replace(dataset, copies=(shown,)),))

    text = sheet(station(held), held)

    assert "heron Field station ssh auditor@heron.example SHA256:q1w2e3" in text
    assert "curlew Long Barn ssh auditor@curlew.example not seen: look at the box itself" in text


def test_addresses_are_named_by_where_they_are_kept_and_the_drives_to_record_again() -> None:
    audit = audited(Standing.PROVEN)
    estate = replace(station(audit), alive=Kept(url_credential="alive"))

    text = sheet(estate, audit)

    assert (
        "notices 'household' in the file /etc/coverage-audit/household, alive in the service credential alive" in text
    )
    assert "plug in and record again: shelf-b." in text
    assert "preflight --accept kestrel:main" in text


def test_the_whole_estate_file_stands_at_the_end_line_by_line() -> None:
    seen = Seen(the_own_sheet())
    lines = "".join(seen.text)

    for line in TEXT.splitlines():
        assert line in lines
    assert len([tag for tag, _ in seen.elements if tag == "li"]) > len(TEXT.splitlines())
