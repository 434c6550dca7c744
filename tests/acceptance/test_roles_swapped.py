"""After a failover the job may run from the copy to the original: real files, made where nobody should work."""

from __future__ import annotations

import os
from datetime import timedelta

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, dataset_of

NOW = timedelta(0)


def filled(station: Station) -> None:
    station.declare(two_places())
    for number in range(40):
        station.write(f"kestrel/recordings/take-{number}.wav", os.urandom(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    station.night()


def made_in(station: Station, place: str, *, first: int = 0, count: int = 6) -> None:
    for number in range(first, first + count):
        station.write(f"{place}/recordings/new-{number}.wav", os.urandom(300 + number), NOW)


def direction(audited: Audited) -> list[Finding]:
    return [f for f in dataset_of(audited, "field-recordings").findings if f.rule == "direction"]


def test_files_that_are_made_in_the_copy_alone_leave_the_original_in_doubt(station: Station) -> None:
    """Each is extra there, so that nothing is missing and nothing differs: the copy is proven, and the work is not."""
    filled(station)
    made_in(station, "heron")

    audited = station.night()

    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
    (found,) = direction(audited)
    assert found.answer is Answer.UNVERIFIED
    assert "6 files were written in the copy, e.g. “new-0.wav”, and are not in the original" in found.message
    assert dataset_of(audited, "field-recordings").conclusion is Conclusion.UNVERIFIED


def test_a_job_that_runs_as_declared_raises_no_question(station: Station) -> None:
    filled(station)
    made_in(station, "kestrel")
    station.mirror("kestrel/recordings", "heron/recordings")
    for number in range(3):  # made, copied and deleted since
        (station.root / f"kestrel/recordings/new-{number}.wav").unlink()

    audited = station.night()

    assert not direction(audited)
    assert copy_of(audited, "field-recordings").standing is Standing.PROVEN
