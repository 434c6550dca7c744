"""What the ledger says of the present, on either database."""

from __future__ import annotations

import multiprocessing
import signal
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import Address, DatasetId, DeviceId, VolumeKey
from coverage_audit.evidence.shelf import ShelfTree
from coverage_audit.judgement.verdict import Answer, Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.lock import Lock, exclusive, holder_of
from coverage_audit.ledger.past_record import NightOutcome
from coverage_audit.ledger.present_record import NightCounts
from tests.builders.kept import a_seen_manifest
from tests.builders.nights import recorded
from tests.builders.recorded import COPY, HERON, KESTREL, ORIGINAL, RECORDINGS, a_box_answer, a_finding, a_judged, night

NONE = Lineage()
MINUTE = timedelta(minutes=1)
FIRST = date(2026, 11, 1)


def test_an_empty_ledger_says_nothing(ledger: Ledger) -> None:
    present = ledger.present
    assert present.last_audit(night(9)) is None
    assert present.datasets([RECORDINGS], NONE) == {}
    assert present.open_findings() == ()
    assert present.device_seen([KESTREL.device], night(9)) is None
    assert present.drive_recorded([DeviceId("shelf-b")], night(9)) is None
    assert present.place_seen([ORIGINAL, COPY], night(9)) is None
    assert present.night_counts() == NightCounts()
    assert present.daemon() is None


def test_the_last_audit_is_the_newest_of_all_datasets(ledger: Ledger) -> None:
    recorded(ledger, 0)
    recorded(ledger, 1, judged=a_judged(night(1), {"field-recordings": [a_finding()]}))
    recorded(ledger, 2, judged=a_judged(night(2), whole=False))
    last = ledger.present.last_audit(night(3))
    assert last is not None
    assert (last.started, last.conclusion) == (night(1), Conclusion.NONCONFORMING)


def test_an_audit_that_finished_in_a_future_that_has_not_come_is_none(ledger: Ledger) -> None:
    recorded(ledger, 1)
    recorded(ledger, 3650)
    last = ledger.present.last_audit(night(2))
    assert last is not None
    assert last.started == night(1)
    finished = last.finished
    assert ledger.present.last_audit(finished) == last
    assert ledger.present.last_audit(finished - MINUTE) is None


def test_the_last_estate_is_that_of_the_last_audit_of_all_datasets(ledger: Ledger) -> None:
    assert ledger.present.last_estate(night(9)) is None
    recorded(ledger, 1, estate_text="estate: one\n")
    recorded(ledger, 2, estate_text="estate: two\n", judged=a_judged(night(2), whole=False))
    recorded(ledger, 3650, estate_text="estate: of a clock that was ahead\n")
    assert ledger.present.last_estate(night(3)) == "estate: one\n"


def test_what_is_waived_is_counted_while_it_is_asked_for(ledger: Ledger) -> None:
    waived = a_finding("copies:x", Answer.WAIVED)
    assert ledger.present.waived() == 0
    recorded(ledger, 0, judged=a_judged(night(0), {"x": [waived, a_finding("age:x")]}))
    assert ledger.present.waived() == 1
    recorded(ledger, 1, judged=a_judged(night(1), {"y": [a_finding("age:y")]}))
    assert ledger.present.waived() == 0


def test_a_dataset_is_as_it_was_judged_last_under_any_of_its_names(ledger: Ledger) -> None:
    failing = {"recordings": [a_finding("copies:recordings")]}
    recorded(ledger, 1, judged=a_judged(night(1), failing))
    lineage = Lineage(datasets=((RECORDINGS, DatasetId("recordings")),))
    found = ledger.present.datasets([RECORDINGS, DatasetId("photos")], lineage)
    assert {name: (day.at, day.conclusion) for name, day in found.items()} == {
        RECORDINGS: (night(1), Conclusion.NONCONFORMING)
    }
    fine = {"field-recordings": [a_finding(answer=Answer.CONFORMITY)]}
    recorded(ledger, 2, judged=a_judged(night(2), fine, whole=False))
    found = ledger.present.datasets([RECORDINGS], lineage)
    assert (found[RECORDINGS].at, found[RECORDINGS].conclusion) == (night(2), Conclusion.CONFORMING)


def test_open_findings_are_those_not_met_or_not_told_and_never_what_is_settled_or_waived(ledger: Ledger) -> None:
    old, new, waived = a_finding("age:x"), a_finding("copies:x", Answer.UNVERIFIED), a_finding("media:x")
    recorded(ledger, 0, judged=a_judged(night(0), {"x": [old, waived, a_finding("offsite:x")]}))
    settled = a_finding("offsite:x", Answer.CONFORMITY)
    accepted = replace(waived, answer=Answer.WAIVED)
    recorded(ledger, 1, judged=a_judged(night(1), {"x": [old, new, accepted, settled]}))
    found = [(one.finding.id, one.finding.answer, one.dataset, one.since) for one in ledger.present.open_findings()]
    assert found == [
        ("age:x", Answer.NONCONFORMITY, DatasetId("x"), night(0)),
        ("copies:x", Answer.UNVERIFIED, DatasetId("x"), night(1)),
    ]


def test_what_is_asked_for_no_more_is_not_open(ledger: Ledger) -> None:
    recorded(ledger, 0, judged=a_judged(night(0), {"x": [a_finding("age:x")]}))
    recorded(ledger, 1, judged=a_judged(night(1), {"y": [a_finding("age:y", Answer.CONFORMITY)]}))
    assert ledger.present.open_findings() == ()


def test_a_device_was_seen_when_it_last_answered_under_any_of_its_names(ledger: Ledger) -> None:
    recorded(ledger, 0, answers=(a_box_answer(KESTREL, night(0)), a_box_answer(HERON, night(0))))
    recorded(ledger, 1, answers=(a_box_answer(KESTREL, night(1)),))
    present = ledger.present
    assert present.device_seen([KESTREL.device], night(9)) == night(1)
    assert present.device_seen([HERON.device], night(9)) == night(0)
    assert present.device_seen([DeviceId("avocet"), HERON.device], night(9)) == night(0)
    assert present.device_seen([DeviceId("avocet")], night(9)) is None


def test_what_a_wrong_clock_saw_in_the_future_is_no_evidence_of_today(ledger: Ledger) -> None:
    recorded(ledger, 0, answers=(a_box_answer(KESTREL, night(0)),))
    recorded(ledger, 1, answers=(a_box_answer(KESTREL, night(3650)),))
    assert ledger.present.device_seen([KESTREL.device], night(2)) == night(0)


def test_a_place_was_seen_when_its_tree_on_a_trusted_volume_was(ledger: Ledger) -> None:
    staging = ledger.staging(night(0))
    seen = a_seen_manifest(staging, night(0) + MINUTE)
    other_volume = a_seen_manifest(staging, night(1) + MINUTE, trusted=False)
    recorded(ledger, 0, manifests=(seen,))
    recorded(ledger, 1, manifests=(other_volume,))
    former = Address(volume=VolumeKey(device=DeviceId("avocet"), volume=KESTREL.volume), path="old")
    assert ledger.present.place_seen([ORIGINAL], night(9)) == night(0) + MINUTE
    assert ledger.present.place_seen([former, ORIGINAL], night(9)) == night(0) + MINUTE
    assert ledger.present.place_seen([ORIGINAL], night(0)) is None
    assert ledger.present.place_seen([COPY, former], night(9)) is None


def test_a_shelf_drive_was_seen_when_it_was_last_recorded(ledger: Ledger) -> None:
    for number in (2, 1):
        seen = a_seen_manifest(ledger.staging(night(number)), night(number), COPY)
        tree = ShelfTree(address=COPY, manifest=seen.manifest, at=night(number), how="")
        ledger.record_shelf([tree], COPY.volume, (), night(number))
    assert ledger.present.drive_recorded([COPY.volume.device], night(9)) == night(2)
    assert ledger.present.drive_recorded([COPY.volume.device], night(1)) == night(1)


def test_nights_are_counted_once_each(ledger: Ledger) -> None:
    nights = ledger.nights
    nights.begin(FIRST, night(0))
    nights.end(FIRST, night(0), NightOutcome.AUDITED)
    nights.end(FIRST, night(0), NightOutcome.FAILED)
    nights.begin(FIRST + timedelta(days=4), night(4), missed=3, missed_since=FIRST + timedelta(days=1))
    assert ledger.present.night_counts() == NightCounts(ended={NightOutcome.AUDITED: 1}, missed=3)


def test_a_night_that_was_cut_off_is_not_counted_again_as_missed(ledger: Ledger) -> None:
    nights = ledger.nights
    nights.begin(FIRST, night(0))
    third = FIRST + timedelta(days=2)
    nights.begin(third, night(2), missed=2, missed_since=FIRST)
    nights.end(third, night(2), NightOutcome.AUDITED)
    ended = {NightOutcome.AUDITED: 1, NightOutcome.FAILED: 1}
    assert ledger.present.night_counts() == NightCounts(ended=ended, missed=1)


def _run_as_daemon(state: Path, ready: multiprocessing.synchronize.Event) -> None:
    with exclusive(state, Lock.DAEMON):
        ready.set()
        signal.pause()


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_a_daemon_is_named_while_it_runs_and_not_once_it_was_killed(ledger: Ledger, state: Path) -> None:
    context = multiprocessing.get_context("spawn")
    ready = context.Event()
    daemon = context.Process(target=_run_as_daemon, args=(state, ready))
    daemon.start()
    assert ready.wait(30)
    assert str(ledger.present.daemon()).startswith(f"process {daemon.pid}, since 20")
    daemon.kill()
    daemon.join()
    assert ledger.present.daemon() is None
    with exclusive(state, Lock.DAEMON):
        assert holder_of(state, Lock.SENDING) is None
