"""Undeclared data: what the survey found, how old it is, and what it could not read."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.estate.model import VolumeId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import MountedFilesystem
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.surveyed import (
    SurveySummary,
    Unclaimed,
    Undeclared,
    UndeclaredFilesystem,
    VolumeLook,
)
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.rules.undeclared_data import check
from coverage_audit.judgement.verdict import Answer, Finding
from tests.builders.cases import a_gap
from tests.builders.station import FINISHED, KESTREL, STARTED, an_estate

MAIN = VolumeKey(device=KESTREL.id, volume=VolumeId("main"))
ABOVE = an_estate().limits.undeclared_above
LITTLE = SurveySummary(
    volume=MAIN,
    at=STARTED - timedelta(days=2),
    declared="",
    claimed=Tally(files=10, bytes=10**12),
    not_kept=Tally(),
    litter=Tally(),
    unclaimed=Tally(files=1, bytes=ABOVE),
)
MUCH = replace(
    LITTLE,
    unclaimed=Tally(files=9, bytes=ABOVE + 1),
    largest=(Unclaimed(folder=b"old\nprojects", tally=Tally(files=9, bytes=ABOVE + 1)),),
)
BLIND = replace(LITTLE, blind=(Blind(path=b"private", why="denied"),), blind_places=1)


def findings(undeclared: Undeclared | None, *, rehearsal: bool = False) -> tuple[Finding, ...]:
    context = EstateContext(
        estate=replace(an_estate(), rehearsal=rehearsal),
        cases=(),
        devices={},
        identities=(),
        started=STARTED,
        finished=FINISHED,
        whole=True,
        undeclared=undeclared,
    )
    return tuple(check(context))


def found(survey: SurveySummary | None, *, attached: bool = True) -> Finding:
    gap = a_gap() if survey is None else None
    look = VolumeLook(volume=MAIN, survey=survey, gap=gap, attached=attached)
    (finding,) = findings(Undeclared(looks=(look,)))
    return finding


@pytest.mark.parametrize(
    ("survey", "answer"),
    [
        (LITTLE, Answer.CONFORMITY),
        (MUCH, Answer.NONCONFORMITY),
        (BLIND, Answer.UNVERIFIED),
        (replace(BLIND, unclaimed=MUCH.unclaimed), Answer.NONCONFORMITY),
        (replace(LITTLE, at=STARTED - timedelta(days=9, hours=-1)), Answer.CONFORMITY),
        (replace(LITTLE, at=STARTED - timedelta(days=9, hours=1)), Answer.UNVERIFIED),
        (None, Answer.UNVERIFIED),
    ],
)
def test_the_answer_is_what_was_found_and_unknown_is_no_good_news(survey: SurveySummary | None, answer: Answer) -> None:
    assert found(survey).answer is answer


def test_what_is_on_the_shelf_stays_as_it_was_recorded() -> None:
    assert found(replace(LITTLE, at=STARTED - timedelta(days=400)), attached=False).answer is Answer.CONFORMITY


def test_the_message_names_the_largest_folders_harmlessly_and_the_way_to_declare_them() -> None:
    finding = found(MUCH)
    assert r"“old\nprojects/”" in finding.message
    assert "coverage-audit survey kestrel" in finding.mend
    assert "not_kept" in finding.mend
    assert finding.id == "undeclared-data:kestrel:main"


def test_unreadable_places_are_named() -> None:
    assert "“private”" in found(BLIND).message


def test_where_it_was_not_looked_for_nothing_is_said() -> None:
    assert findings(None) == ()


def mounted(target: str, used: int) -> Undeclared:
    seen = MountedFilesystem(source="/dev/sdb1", target=target, filesystem_type="ext4", capacity=used * 2, free=used)
    return Undeclared(filesystems=(UndeclaredFilesystem(device=KESTREL.id, filesystem=seen),))


def test_a_full_filesystem_that_no_volume_declares_is_observed() -> None:
    (finding,) = findings(mounted("/srv/new share", ABOVE + 1))
    assert finding.answer is Answer.OBSERVATION
    assert finding.id == "undeclared-data:kestrel:/srv/new%20share"
    assert "--draft" in finding.mend


@pytest.mark.parametrize(("target", "used"), [("/srv/new", ABOVE), ("/", ABOVE * 9), ("/boot/efi", ABOVE * 9)])
def test_a_little_or_the_boxs_own_system_is_not(target: str, used: int) -> None:
    assert findings(mounted(target, used)) == ()


def test_a_rehearsal_stands_on_one_machine_and_says_nothing_of_its_filesystems() -> None:
    assert findings(mounted("/srv/new", ABOVE * 9), rehearsal=True) == ()
