"""Folders that the auditor's account may not read: unknown is never held, and never missing.

Root reads everything, so the audit runs without the two capabilities that let it.
"""

from __future__ import annotations

from typing import Any

import pytest

from coverage_audit.judgement.verdict import Conclusion, Standing
from tests.acceptance.test_a_mirror_that_stopped import ESTATE
from tests.parts.station import ORDINARY, Ran, Station

pytestmark = pytest.mark.root


@pytest.fixture
def recorded(station: Station) -> Station:
    station.declare(ESTATE)
    for number in range(60):
        station.write(f"kestrel/recordings/{'open' if number % 2 else 'closed'}/take-{number}.wav", bytes(100 + number))
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def audit(station: Station) -> tuple[Ran, dict[str, Any]]:
    ran = station.command("audit", "--json", prefix=ORDINARY)
    assert ran.status in {0, 1, 69}, ran.err
    return ran, ran.object["datasets"][0]


def test_what_lies_below_an_unreadable_folder_of_the_original_is_unverified(recorded: Station) -> None:
    assert audit(recorded)[0].status == 0
    (recorded.root / "kestrel/recordings/closed").chmod(0)

    ran, dataset = audit(recorded)

    assert ran.status == 69
    assert dataset["conclusion"] == Conclusion.UNVERIFIED
    assert "closed" in ran.out


def test_absence_below_an_unreadable_folder_of_the_copy_is_unknown(recorded: Station) -> None:
    assert audit(recorded)[0].status == 0
    (recorded.root / "heron/recordings/closed").chmod(0)

    ran, dataset = audit(recorded)
    (copy,) = dataset["copies"]

    assert ran.status == 69
    assert copy["standing"] == Standing.UNVERIFIED
    assert "closed" in copy["reason"]


def test_a_defect_proven_elsewhere_in_the_same_copy_still_shows(recorded: Station) -> None:
    assert audit(recorded)[0].status == 0
    (recorded.root / "heron/recordings/closed").chmod(0)
    (recorded.root / "heron/recordings/open/take-31.wav").unlink()

    ran, dataset = audit(recorded)
    (copy,) = dataset["copies"]

    assert ran.status == 1
    assert copy["standing"] == Standing.INCOMPLETE
    assert dataset["conclusion"] == Conclusion.NONCONFORMING


def test_folders_closed_on_both_sides_are_not_equally_empty(recorded: Station) -> None:
    (recorded.root / "kestrel/recordings/closed").chmod(0)
    (recorded.root / "heron/recordings/closed").chmod(0)

    ran, dataset = audit(recorded)

    assert ran.status == 69
    assert dataset["conclusion"] == Conclusion.UNVERIFIED
