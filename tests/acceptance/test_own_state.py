"""The auditor's own ledger, estate and keys in whole audits: a finding of the estate until a dataset holds them."""

from __future__ import annotations

import json
import sqlite3
from datetime import timedelta

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.parts.station import Station, copy_of, dataset_of

ESTATE = """\
rehearsal: REHEARSAL
sites:
  station: {name: Field station}
  barn: {name: Long Barn}
devices:
  kestrel:
    site: station
    access: local
    volumes: {main: {path: "{root}", medium: ssd, on_root: true}}
  heron:
    site: barn
    access: local
    volumes: {pool: {path: "{root}-heron", medium: hdd, on_root: true}}
policies:
  careful: {copies: 2, max_age: 26h}
datasets:
  field-recordings:
    policy: careful
    original: kestrel:main/recordings
    copies: [{at: heron:pool/recordings}]
"""
OWN = """\
  auditor:
    policy: careful
    original: kestrel:main/state
    copies: [{at: heron:pool/state}]
    leave_out: [/staging/, "/ledger.db*"]
  auditor-estate:
    policy: careful
    original: kestrel:main/own
    copies: [{at: heron:pool/own}]
"""
NIGHT = timedelta(days=1)


@pytest.fixture
def kept(station: Station) -> Station:
    """One dataset that is held; the estate file in a folder of its own."""
    station.estate_file = station.root / "own/estate.yaml"
    station.estate_file.parent.mkdir()
    station.write("recordings/take.wav")
    station.mirror("recordings", f"../{station.root.name}-heron/recordings")
    return station


def declare(station: Station, own: str = "", *, rehearsal: bool = True) -> None:
    station.declare(ESTATE.replace("REHEARSAL", json.dumps(rehearsal)) + own)


def copy_own(station: Station) -> None:
    """What an owner's nightly job does: a copy of the database by its own means, then all of it to the other place."""
    (station.state / "dump").mkdir(exist_ok=True)
    source, target = sqlite3.connect(station.state / "ledger.db"), sqlite3.connect(station.state / "dump/ledger.db")
    with target:
        source.backup(target)  # what `.backup` of the sqlite3 shell calls: https://www.sqlite.org/cli.html
    source.close()
    target.close()
    station.stamp("state/dump/ledger.db", timedelta(0))
    for folder in ("state", "own"):
        station.mirror(folder, f"../{station.root.name}-heron/{folder}", "--exclude=/staging/", "--exclude=/ledger.db*")


def own(audited: Audited) -> dict[str, Finding]:
    return {found.subject: found for found in audited.judged.findings if found.rule == "own-state"}


def test_an_auditor_whose_own_state_nothing_holds_is_nonconforming_in_earnest(kept: Station) -> None:
    declare(kept, rehearsal=False)

    ran = kept.command("audit", "--json")

    found = {one["id"]: one for one in ran.object["findings"] if one["rule"] == "own-state"}
    assert ran.status == 1
    assert ran.object["conclusion"] == "nonconforming"
    assert {name: one["answer"] for name, one in found.items()} == {
        "own-state:ledger": "nonconformity",
        "own-state:estate": "nonconformity",
    }
    assert str(kept.state) in found["own-state:ledger"]["message"]
    assert 'original: "kestrel:main/state"' in found["own-state:ledger"]["mend"]
    told = " ".join(kept.command("explain", "own-state:ledger").out.split())
    assert ".backup" in told
    assert 'original: "kestrel:main/state"' in told


def test_a_preflight_says_it_before_anything_is_audited(kept: Station) -> None:
    declare(kept, rehearsal=False)
    before = kept.command("preflight")
    declare(kept, OWN, rehearsal=False)
    copy_own(kept)
    after = kept.command("preflight")
    declare(kept)

    assert before.status == 0, before.err
    assert f"The auditor could lose its own ledger: “{kept.state}” lies on kestrel:main, outside every" in before.out
    assert "could lose its own" not in after.out
    assert "could lose its own" not in kept.command("preflight").out


def test_in_a_rehearsal_it_is_observed_and_fails_nothing(kept: Station) -> None:
    declare(kept)

    audited = kept.night()

    assert {name: found.answer for name, found in own(audited).items()} == {"auditor": Answer.OBSERVATION}
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_the_lines_that_the_finding_gives_can_be_put_into_the_estate(kept: Station) -> None:
    declare(kept, rehearsal=False)
    mends = [found.mend for found in own(kept.night()).values()]
    drafted = ["  " + mend.removeprefix("Under datasets: ").removesuffix(".") for mend in mends]

    declare(kept, "\n".join(drafted).replace("DEVICE:VOLUME", "heron:pool") + "\n")

    assert set(own(kept.night())) == {"ledger", "estate"}
    assert {found.answer for found in own(kept.night()).values()} == {Answer.CONFORMITY}


def test_a_ledger_that_is_copied_every_night_conforms_although_every_audit_writes_to_it(kept: Station) -> None:
    declare(kept, OWN)
    audited = kept.night()
    for _ in range(4):
        copy_own(kept)
        kept.pass_time(timedelta(hours=2))
        audited = kept.night()
        kept.pass_time(NIGHT - timedelta(hours=2))

    assert {name: found.answer for name, found in own(audited).items()} == {
        "ledger": Answer.CONFORMITY,
        "estate": Answer.CONFORMITY,
    }
    assert copy_of(audited, "auditor").standing is Standing.PROVEN, copy_of(audited, "auditor").reason
    assert dataset_of(audited, "auditor").conclusion is Conclusion.CONFORMING
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_a_ledger_whose_copying_stopped_fails_like_any_dataset(kept: Station) -> None:
    declare(kept, OWN)
    audited = kept.night()
    copy_own(kept)
    for _ in range(4):
        kept.pass_time(NIGHT)
        audited = kept.night()

    assert dataset_of(audited, "auditor").conclusion is Conclusion.NONCONFORMING
    assert own(audited)["auditor"].answer is Answer.OBSERVATION  # the copy of the database is too old: a rehearsal
    assert "was made 4 days ago" in own(audited)["auditor"].message


def test_what_was_copied_that_way_is_a_state_folder_that_works(kept: Station) -> None:
    declare(kept, OWN)
    kept.night()
    copy_own(kept)
    there = kept.root.with_name(f"{kept.root.name}-heron") / "state"
    (there / "dump/ledger.db").rename(there / "ledger.db")
    before = kept.estate
    kept.state = there

    audited = kept.night()

    assert before == kept.estate
    assert audited.recorded.audit == 2
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
