"""An estate that changes: what is renamed, moved or swapped is accepted in one step, and no history is lost by it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.estate.changes import said
from coverage_audit.judgement.verdict import Answer, Conclusion, Standing
from coverage_audit.ledger.record import TransitionKind
from tests.builders.two_places import two_places
from tests.parts.loops import MakeVolume
from tests.parts.station import Station, copy_of, dataset_of

DAY = timedelta(days=1)
ESTATE = two_places()

Change = Callable[[Station], str]
"""Changes the station; returns what the dataset is called from then on."""


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(30):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(200 + number), age=timedelta(days=40 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def declared(station: Station, *replaced: tuple[str, str]) -> None:
    """Declare the estate of now with parts of its text replaced; each must be there."""
    text = station.estate_file.read_text()
    for old, new in replaced:
        assert old in text
        text = text.replace(old, new)
    station.estate_file.write_text(text)


def device_renamed(station: Station) -> str:
    declared(station, ("  heron:\n", "  bittern:\n    formerly: [heron]\n"), ("heron:pool/", "bittern:pool/"))
    return "field-recordings"


def device_renamed_and_renamed_again(station: Station) -> str:
    device_renamed(station)
    declared(station, ("  bittern:\n", "  egret:\n"), ("[heron]", "[bittern, heron]"), ("bittern:pool/", "egret:pool/"))
    return "field-recordings"


def dataset_renamed(station: Station) -> str:
    declared(station, ("  field-recordings:\n", "  tapes:\n    formerly: [field-recordings]\n"))
    return "tapes"


def original_moved(station: Station) -> str:
    (station.root / "kestrel/recordings").rename(station.root / "kestrel/tapes")
    declared(
        station,
        (
            "original: kestrel:main/recordings",
            "original: kestrel:main/tapes\n    moved_from: [kestrel:main/recordings]",
        ),
    )
    return "field-recordings"


def copy_moved(station: Station) -> str:
    (station.root / "heron/recordings").rename(station.root / "heron/tapes")
    declared(station, ("{at: heron:pool/recordings}", "{at: heron:pool/tapes, moved_from: [heron:pool/recordings]}"))
    return "field-recordings"


def all_at_once(station: Station) -> str:
    copy_moved(station)
    original_moved(station)
    device_renamed(station)
    return dataset_renamed(station)


CHANGES = [
    device_renamed,
    device_renamed_and_renamed_again,
    dataset_renamed,
    original_moved,
    copy_moved,
    all_at_once,
]
every_change = pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)


def behind(station: Station, days: int) -> Audited:
    """Let the original go on for so many days without its copy."""
    audited = station.night()
    for day in range(1, days + 1):
        station.pass_time(DAY)
        station.write(f"kestrel/recordings/new-{day}.wav", bytes(300 + day), age=timedelta(hours=3))
        audited = station.night()
    return audited


def exposed_since(audited: Audited, name: str) -> datetime:
    exposure = dataset_of(audited, name).exposure
    assert exposure is not None
    assert exposure.since is not None
    return exposure.since


@every_change
def test_a_copy_that_stopped_stays_stopped_and_its_finding_begins_no_second_time(
    recorded: Station, change: Change
) -> None:
    before = behind(recorded, 5)
    assert copy_of(before, "field-recordings").standing is Standing.STALE
    recorded.pass_time(DAY)

    name = change(recorded)
    after = recorded.night()

    assert copy_of(after, name).standing is Standing.STALE
    assert copy_of(after, name).recovery_point == copy_of(before, "field-recordings").recovery_point
    assert exposed_since(after, name) == exposed_since(before, "field-recordings")
    assert after.judged.conclusion is Conclusion.NONCONFORMING
    assert not [one for one in after.recorded.transitions if one.kind in {TransitionKind.BEGUN, TransitionKind.ENDED}]
    assert sorted(after.recorded.since.values()) == sorted(before.recorded.since.values())


def test_what_an_original_lost_on_its_way_to_another_place_is_said_at_once(recorded: Station) -> None:
    recorded.night()
    recorded.pass_time(DAY)
    for number in range(25):
        (recorded.root / f"kestrel/recordings/take-{number}.wav").unlink()

    original_moved(recorded)
    [found] = [one for one in dataset_of(recorded.night(), "field-recordings").findings if one.rule == "shrinkage"]

    assert found.answer is Answer.NONCONFORMITY
    assert "25 files" in found.message


@every_change
def test_renaming_each_night_does_not_put_off_the_night_on_which_a_file_must_be_there(
    recorded: Station, change: Change
) -> None:
    # What a mirror has 26 hours to take up is pending on the first night, and not on the second under another name.
    first = behind(recorded, 1)
    assert copy_of(first, "field-recordings").standing is Standing.PROVEN
    recorded.pass_time(DAY)

    name = change(recorded)

    assert copy_of(recorded.night(), name).standing is Standing.STALE


@every_change
def test_what_changed_is_said_once_with_the_next_audit(recorded: Station, change: Change) -> None:
    recorded.night()
    change(recorded)
    told = [said(event.change) for event in recorded.night().recorded.events]
    assert told
    assert all("called" in one or "moved" in one for one in told)
    assert recorded.night().recorded.events == ()


def test_the_line_of_an_audit_names_what_changed(recorded: Station) -> None:
    recorded.night()
    all_at_once(recorded)
    out = " ".join(recorded.command("audit").out.split())
    assert (
        "Since the last audit: device heron is called bittern now; dataset field-recordings is called tapes now" in out
    )
    assert "dataset tapes moved from kestrel:main/recordings to kestrel:main/tapes" in out


def test_a_rename_that_is_not_declared_is_said_with_what_to_declare(recorded: Station) -> None:
    behind(recorded, 5)
    declared(recorded, ("  field-recordings:\n", "  tapes:\n"))
    (came, *_), _ = recorded.night().recorded.events, None
    assert "it lies where field-recordings lay: if it is the same, say so with `formerly`" in said(came.change)


def test_a_copy_that_moved_and_lost_files_on_the_way_is_incomplete_at_once(recorded: Station) -> None:
    recorded.night()
    recorded.pass_time(DAY)
    copy_moved(recorded)
    for number in range(3):
        (recorded.root / f"heron/tapes/take-{number}.wav").unlink()

    copy = copy_of(recorded.night(), "field-recordings")

    assert copy.standing is Standing.INCOMPLETE
    assert copy.comparison is not None
    assert copy.comparison.counting.files == 3


def test_what_lay_at_the_old_place_is_no_evidence_for_the_new_one(recorded: Station) -> None:
    recorded.estate_file.write_text(
        recorded.estate_file.read_text().replace("site: barn", "site: barn\n    may_be_off: 30d")
    )
    recorded.night()
    shutil.rmtree(recorded.root / "heron/recordings")
    declared(recorded, ("{at: heron:pool/recordings}", "{at: heron:pool/tapes, moved_from: [heron:pool/recordings]}"))

    assert copy_of(recorded.night(), "field-recordings").standing is not Standing.PROVEN


def test_an_original_that_moved_and_shrank_is_doubted(recorded: Station) -> None:
    recorded.night()
    original_moved(recorded)
    for number in range(28):
        (recorded.root / f"kestrel/tapes/take-{number}.wav").unlink()
    recorded.mirror("kestrel/tapes", "heron/recordings")

    assert recorded.night().judged.conclusion is not Conclusion.CONFORMING


def test_a_copys_name_may_be_dropped_from_the_estate_once_it_has_gone_on(recorded: Station) -> None:
    before = behind(recorded, 5)
    device_renamed(recorded)
    recorded.night()
    declared(recorded, ("    formerly: [heron]\n", ""))

    after = recorded.night()

    assert exposed_since(after, "field-recordings") == exposed_since(before, "field-recordings")
    assert sorted(after.recorded.since.values()) == sorted(before.recorded.since.values())


@pytest.mark.root
def test_a_drive_that_was_swapped_under_a_new_name_is_not_taken_for_the_old_one(
    recorded: Station, make_volume: MakeVolume
) -> None:
    shutil.rmtree(recorded.root / "heron")
    disk = make_volume(recorded.root / "heron")
    recorded.mirror("kestrel/recordings", "heron/recordings")
    assert recorded.night().judged.conclusion is Conclusion.CONFORMING
    disk.unmount()
    make_volume(recorded.root / "heron")
    recorded.mirror("kestrel/recordings", "heron/recordings")
    device_renamed(recorded)
    recorded.night()
    declared(recorded, ("    formerly: [heron]\n", ""))

    assert copy_of(recorded.night(), "field-recordings").standing is Standing.UNVERIFIED


@pytest.mark.root
def test_a_drive_is_swapped_in_one_step_and_its_history_goes_on(recorded: Station, make_volume: MakeVolume) -> None:
    shutil.rmtree(recorded.root / "heron")
    disk = make_volume(recorded.root / "heron")
    recorded.mirror("kestrel/recordings", "heron/recordings")
    before = behind(recorded, 5)
    disk.unmount()
    make_volume(recorded.root / "heron")
    recorded.mirror("kestrel/recordings", "heron/recordings", "--exclude=new-*")
    assert copy_of(recorded.night(), "field-recordings").standing is Standing.UNVERIFIED

    assert recorded.command("preflight", "--accept", "heron:pool").status == 0
    after = recorded.night()

    assert copy_of(after, "field-recordings").standing is Standing.STALE
    assert exposed_since(after, "field-recordings") == exposed_since(before, "field-recordings")
    (swapped,) = after.recorded.events
    assert said(swapped.change).startswith("volume heron:pool was swapped (accepted by ")
    assert "filesystem uuid" in said(swapped.change)
