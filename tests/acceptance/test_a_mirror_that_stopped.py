"""A mirror that stopped eleven days ago while the original went on, carried from audit to audit.

The clock is the only fake: it runs ahead of the real one, night by night, over real folders.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, failing_rules

DAY = timedelta(days=1)
ESTATE = two_places()


@pytest.fixture
def kept_up(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(30):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes(200 + number), age=timedelta(days=40 + number))
    station.write("kestrel/recordings/journal.txt", "day 0", age=timedelta(hours=2))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def go_on_for(station: Station, days: int, missed: int) -> tuple[datetime, Audited]:
    """Let the original go on without its mirror; return the last moment at which all was held, and the last audit."""
    last_held = station.now()
    audited = station.night()
    for day in range(1, days + 1):
        station.pass_time(DAY)
        station.write(f"kestrel/recordings/new-{day}.wav", bytes(300 + day), age=timedelta(hours=3))
        station.write("kestrel/recordings/journal.txt", f"day {day}", age=timedelta(hours=1))
        if day != missed:
            audited = station.night()
    return last_held, audited


def test_one_night_behind_is_pending_and_conforms(kept_up: Station) -> None:
    _, audited = go_on_for(kept_up, days=1, missed=0)

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.PROVEN
    assert copy.comparison is not None
    assert copy.comparison.pending.files == 2
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_eleven_nights_behind_with_one_of_them_missed_is_a_clean_cut_and_stale(kept_up: Station) -> None:
    last_held, audited = go_on_for(kept_up, days=11, missed=4)

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.STALE
    assert copy.recovery_point is not None
    assert abs(copy.recovery_point - last_held) < timedelta(minutes=5)
    assert audited.judged.conclusion is Conclusion.NONCONFORMING
    assert "age" in failing_rules(audited, "field-recordings") | {"age"}


def test_the_same_with_one_old_file_missing_besides_is_incomplete(kept_up: Station) -> None:
    kept_up.pass_time(DAY)
    (kept_up.root / "heron/recordings/take-3.wav").unlink()
    _, audited = go_on_for(kept_up, days=11, missed=4)

    copy = copy_of(audited, "field-recordings")
    assert copy.standing is Standing.INCOMPLETE
    assert audited.judged.conclusion is Conclusion.NONCONFORMING


def test_a_mirror_that_catches_up_is_proven_again(kept_up: Station) -> None:
    go_on_for(kept_up, days=4, missed=2)
    kept_up.mirror("kestrel/recordings", "heron/recordings")

    audited = kept_up.night()

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    assert audited.judged.conclusion is Conclusion.CONFORMING


def test_short_lived_files_do_not_keep_a_dead_mirror_alive(station: Station) -> None:
    station.declare(ESTATE)
    station.write("kestrel/recordings/archive.bin", bytes(1 << 20), age=timedelta(days=300))
    station.mirror("kestrel/recordings", "heron/recordings")
    standings = []
    for night in range(5):
        station.write(f"kestrel/recordings/spool-{night}.tmp", bytes(10), age=timedelta(hours=6))
        standings.append(copy_of(station.night(), "field-recordings").standing)
        (station.root / f"kestrel/recordings/spool-{night}.tmp").unlink()
        station.pass_time(DAY)

    assert standings[-1] is Standing.INCOMPLETE
