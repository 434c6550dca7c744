"""Drills in the ledger, on either database."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DatasetId, DeviceId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import (
    LEAST_MEASURED,
    Drill,
    DrillOutcome,
    DrillsOfCopy,
    Fate,
    Incident,
    Outstanding,
    Shown,
)
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.mapping_drills import load_drill, store_drill
from tests.builders.recorded import COPY, RECORDINGS, night

NAMES = (b"plain", b"line\nfeed", b"\xff no utf-8", "kestrel ⁂".encode())


def a_drill(number: int, outcome: DrillOutcome = DrillOutcome.RESTORED, *, seconds: float = 4.0) -> Drill:
    return Drill(
        dataset=RECORDINGS,
        copy=COPY,
        at=night(number),
        outcome=outcome,
        point="2026-11-20",
        chosen=7,
        restored=Tally(files=2, bytes=2 * LEAST_MEASURED),
        damaged=Tally(files=1, bytes=3),
        unread=1,
        changed=2,
        unheld=1,
        by_originals=1,
        named=3,
        again=2,
        drawn=20,
        drawn_back=19,
        held=3000,
        shown=tuple(Shown(path=name, size=3, mtime_ns=-1, ctime_ns=None) for name in NAMES),
        outstanding=(),
        read=2 * LEAST_MEASURED,
        seconds=seconds,
        way="over SFTP",
        incidents=tuple(Incident(path=name, fate=Fate.UNREAD, why="Permission denied") for name in NAMES),
    )


def by_hand(number: int) -> Drill:
    return Drill(
        dataset=RECORDINGS,
        copy=COPY,
        at=night(number),
        outcome=DrillOutcome.BY_HAND,
        who="R. Byrne",
        what="restored the spring of 2024",
    )


def test_a_drill_is_known_again_with_every_name_over_a_restart(ledger: Ledger, reopen: Callable[[], Ledger]) -> None:
    drills = (a_drill(3), by_hand(2), a_drill(1, DrillOutcome.DAMAGED))
    for drill in reversed(drills):
        ledger.drills.record(drill)
    with reopen() as again:
        assert again.drills.of(RECORDINGS) == drills
        assert again.drills.of(DatasetId("another")) == ()


def test_of_a_copy_the_newest_of_each_sort_is_told(ledger: Ledger) -> None:
    assert ledger.drills.newest(RECORDINGS, COPY) == DrillsOfCopy()
    good, bad, said = a_drill(1), a_drill(2, DrillOutcome.INCOMPLETE), by_hand(4)
    for drill in (said, good, bad):
        ledger.drills.record(drill)
    assert ledger.drills.newest(RECORDINGS, COPY) == DrillsOfCopy(newest=bad, restored=good, unread=bad, by_hand=said)
    assert ledger.drills.newest(RECORDINGS, replace(COPY, path="elsewhere")) == DrillsOfCopy()


def test_damage_is_outstanding_until_a_drill_takes_it_away(ledger: Ledger) -> None:
    """Also that of a drill from when only its incidents were kept: none that knows nothing of it mends it."""
    first = Incident(path=NAMES[1], fate=Fate.DAMAGED, why="it is something else")
    ledger.drills.record(replace(a_drill(1, DrillOutcome.DAMAGED), incidents=(first,), outstanding=None))
    ledger.drills.record(replace(a_drill(2), outstanding=None))
    known = ledger.drills.newest(RECORDINGS, COPY)
    assert known.outstanding == (Outstanding(path=NAMES[1]),)
    assert known.standing_damage is not None
    assert known.standing_damage.at == night(1)

    left = tuple(Outstanding(path=name, size=3, mtime_ns=7) for name in NAMES)
    ledger.drills.record(replace(a_drill(3, DrillOutcome.DAMAGED), outstanding=left))
    ledger.drills.record(replace(a_drill(4, DrillOutcome.INCOMPLETE), outstanding=left[1:]))
    assert ledger.drills.newest(RECORDINGS, COPY).outstanding == left[1:]
    assert ledger.drills.newest(RECORDINGS, COPY).outstanding_files == 3

    ledger.drills.record(replace(a_drill(5), outstanding=()))
    assert ledger.drills.newest(RECORDINGS, COPY).standing_damage is None


def test_a_stored_drill_of_the_first_form_is_read_and_shows_little() -> None:
    stored = {
        name: value
        for name, value in store_drill(a_drill(1)).items()
        if name not in {"again", "drawn", "drawn_back", "held", "shown", "outstanding"}
    }
    known = load_drill(stored)
    assert (known["drawn"], known["shown"], known["outstanding"]) == (0, (), None)


@pytest.mark.parametrize(
    ("drawn", "back", "held", "counts"),
    [
        (20, 20, 3000, True),
        (19, 19, 3000, False),
        (1, 1, 3000, False),
        (0, 0, 3000, False),
        (7, 7, 7, True),
        (6, 6, 7, False),
        (20, 10, 3000, True),
        (20, 9, 3000, False),
        (0, 0, 0, False),
    ],
)
def test_only_enough_files_drawn_at_random_speak_for_a_copy(
    ledger: Ledger, *, drawn: int, back: int, held: int, counts: bool
) -> None:
    ledger.drills.record(replace(a_drill(1), drawn=drawn, drawn_back=back, held=held))
    known = ledger.drills.newest(RECORDINGS, COPY)
    assert (known.restored is not None, known.newest is not None) == (counts, True)


def test_what_could_not_be_read_is_told_until_files_drawn_at_random_are_restored(ledger: Ledger) -> None:
    bad = replace(a_drill(2, DrillOutcome.INCOMPLETE), unread=2)
    for drill in (a_drill(1), bad, replace(a_drill(3), unread=0, drawn=0, drawn_back=0)):
        ledger.drills.record(drill)
    known = ledger.drills.newest(RECORDINGS, COPY)
    assert known.restored is not None
    assert known.unread == bad
    assert known.unread.at > known.restored.at


def test_the_drills_of_what_was_renamed_and_moved_go_on(ledger: Ledger) -> None:
    ledger.drills.record(a_drill(1))
    now, place = DatasetId("song-archive"), replace(COPY, path="a new place")
    renamed = Lineage(datasets=((now, RECORDINGS),), moved={(now, place): (COPY,)})
    assert ledger.drills.of(now) == ()
    assert ledger.drills.of(now, renamed) == (a_drill(1),)
    assert ledger.drills.newest(now, place, renamed).restored == a_drill(1)


def test_what_was_drilled_before_another_volume_was_accepted_does_not_count(ledger: Ledger) -> None:
    ledger.drills.record(a_drill(1))
    ledger.accept(COPY.volume, (PinnedFact(name="filesystem_uuid", value="another"),), night(2), "R. Byrne")
    assert ledger.drills.newest(RECORDINGS, COPY) == DrillsOfCopy()
    ledger.drills.record(a_drill(3))
    assert ledger.drills.newest(RECORDINGS, COPY).restored == a_drill(3)


def test_the_rate_of_a_volume_is_the_median_of_its_last_five_drills_that_read_enough(ledger: Ledger) -> None:
    assert ledger.drills.measured(COPY.volume) is None
    ledger.drills.record(by_hand(0))
    ledger.drills.record(replace(a_drill(0), read=LEAST_MEASURED - 1))
    assert ledger.drills.measured(COPY.volume) is None
    for number, seconds in enumerate((1000.0, 1.0, 2.0, 4.0, 8.0, 16.0)):  # of the first nothing counts any more
        ledger.drills.record(a_drill(number, seconds=seconds))
    assert ledger.drills.measured(COPY.volume) == pytest.approx(2 * LEAST_MEASURED / 4.0)
    other = VolumeKey(device=DeviceId("another"), volume=COPY.volume.volume)
    assert ledger.drills.measured(other) is None
    assert ledger.drills.measured(other, (COPY.volume.device,)) is not None


@pytest.mark.parametrize(("read", "seconds", "rate"), [(LEAST_MEASURED, 2.0, LEAST_MEASURED / 2), (5, 1.0, None)])
def test_a_drill_that_read_too_little_tells_no_rate(read: int, seconds: float, rate: float | None) -> None:
    assert replace(a_drill(1), read=read, seconds=seconds).rate == rate
