"""A second copy that is made of the first carries its damage: said where it is declared, and seen where it is not."""

from __future__ import annotations

import os
from datetime import timedelta

import pytest

from coverage_audit.audits.audit import Audited
from coverage_audit.judgement.verdict import Answer, Finding, Standing
from tests.parts.station import Station, copy_of, dataset_of

ESTATE = """
    rehearsal: true
    sites:
      station: {name: Field station}
    devices:
      kestrel: {site: station, access: local, volumes: {main: {path: "{root}/kestrel", medium: hdd}}}
      heron: {site: station, access: local, volumes: {pool: {path: "{root}/heron", medium: hdd}}}
      curlew: {site: station, access: local, volumes: {store: {path: "{root}/curlew", medium: hdd}}}
    policies:
      careful: {copies: 2, max_age: 26h}
    datasets:
      field-recordings:
        policy: careful
        original: kestrel:main/recordings
        copies:
          - at: heron:pool/recordings
          - at: curlew:store/recordings
%s
"""
DECLARED = "            taken_from: heron:pool/recordings"


@pytest.fixture
def recorded(station: Station) -> Station:
    for number in range(40):
        station.write(f"kestrel/recordings/take-{number}.wav", os.urandom(100 + number))
    return station


def copied(station: Station) -> None:
    """The job of each night: heron fetches from kestrel, and curlew from heron."""
    station.mirror("kestrel/recordings", "heron/recordings", "--size-only", "--ignore-existing")
    station.mirror("heron/recordings", "curlew/recordings")


def lineage(audited: Audited) -> list[Finding]:
    return [f for f in dataset_of(audited, "field-recordings").findings if f.rule == "lineage"]


@pytest.mark.parametrize("said", ["", DECLARED], ids=["not declared", "declared"])
def test_damage_that_came_with_the_copying_is_seen_on_both(recorded: Station, said: str) -> None:
    recorded.declare(ESTATE % said)
    copied(recorded)
    before = recorded.night()
    recorded.pass_time(timedelta(days=1))
    recorded.write("heron/recordings/take-7.wav", b"went bad", timedelta(hours=-20))
    copied(recorded)
    after = recorded.night()

    assert [copy_of(after, "field-recordings", number).standing for number in (0, 1)] == [Standing.DAMAGED] * 2
    (found,) = lineage(after)
    if said:
        assert found.answer is not Answer.CONFORMITY
        assert "it is made of heron:pool/recordings, which is damaged" in found.message
        assert [each.answer for each in lineage(before)] == [Answer.CONFORMITY]
    else:
        assert not lineage(before)
        assert found.answer is Answer.OBSERVATION
        assert "1 differ from the original's in the same way, e.g. “take-7.wav”" in found.message
        assert found.subject == "field-recordings@curlew:store/recordings"


def test_what_both_lack_for_long_looks_as_if_it_was_lost_on_the_way(recorded: Station) -> None:
    recorded.declare(ESTATE % "")
    copied(recorded)
    for number in (3, 5, 8):
        (recorded.root / f"heron/recordings/take-{number}.wav").unlink()
    recorded.mirror("heron/recordings", "curlew/recordings")
    assert not lineage(recorded.night()), "what may still be taken up is lacking in every copy"
    recorded.pass_time(timedelta(days=3))

    (found,) = lineage(recorded.night())

    assert "3 are lacking" in found.message


def test_copies_that_each_lack_their_own_are_no_kin(recorded: Station) -> None:
    recorded.declare(ESTATE % "")
    copied(recorded)
    for number in (3, 5, 8):
        (recorded.root / f"heron/recordings/take-{number}.wav").unlink()
        (recorded.root / f"curlew/recordings/take-{number + 20}.wav").unlink()
    recorded.night()
    recorded.pass_time(timedelta(days=3))

    audited = recorded.night()

    assert {copy_of(audited, "field-recordings", number).standing for number in (0, 1)} == {Standing.INCOMPLETE}
    assert not lineage(audited)
