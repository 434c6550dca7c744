"""A volume that fills night by night: what each audit says of it, from the first night to the larger drive."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.evidence.collected import Answer as BoxAnswer
from coverage_audit.evidence.collected import Question
from coverage_audit.evidence.facts import Gap, VolumeFacts
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding
from coverage_audit.reports.as_json import audit_json
from coverage_audit.reports.filling import Full, full_next
from coverage_audit.wiring import assembled
from tests.parts.station import Station, dataset_of

ESTATE = """
    rehearsal: true
    sites: {station: {}, barn: {}}
    devices:
      kestrel: {site: station, access: local, volumes: {main: {path: "{root}/kestrel", medium: hdd}}}
      heron: {site: barn, access: local, volumes: {pool: {path: "{root}/heron", medium: hdd}}}
    policies:
      careful: {copies: 2, max_age: 26h, headroom: 60d}
    datasets:
      field-recordings: {policy: careful, original: kestrel:main/recordings, copies: [{at: heron:pool/recordings}]}
"""
GB = 10**9
DAY = timedelta(days=1)
TELLS, HOLDS, FAILS = Answer.OBSERVATION, Answer.CONFORMITY, Answer.NONCONFORMITY


@pytest.fixture
def growing(station: Station) -> Station:
    """A dataset with one copy, both in order."""
    station.declare(ESTATE)
    for number in range(8):
        station.write(f"kestrel/recordings/take-{number}.wav", bytes([number]) * 100)
    station.mirror("kestrel/recordings", "heron/recordings")
    return station


def night(station: Station, free: int, capacity: int = 1000 * GB) -> Audited:
    """Audit now, heron's disk being as full as said, and let a day go by. All else is real."""
    with assembled(station.estate, station.state, clock=station.now) as parts:

        def gather(questions: Sequence[Question]) -> tuple[BoxAnswer, ...]:
            return tuple(_with_room(answer, free, capacity) for answer in parts.gather(questions))

        audited = run_audit(station.estate, (), replace(parts, gather=gather))
    station.pass_time(DAY)
    return audited


def _with_room(answer: BoxAnswer, free: int, capacity: int) -> BoxAnswer:
    told = (free, capacity) if answer.device.id == "heron" else (900 * GB, 1000 * GB)
    return replace(answer, volumes=tuple(_shown(volume, *told) for volume in answer.volumes))


def _shown(volume: VolumeFacts | Gap, free: int, capacity: int) -> VolumeFacts | Gap:
    if isinstance(volume, Gap):
        return volume
    return replace(volume, free=free, capacity=capacity, inodes=None, inodes_free=None)


def on_heron(audited: Audited) -> Finding:
    findings = dataset_of(audited, "field-recordings").findings
    return next(one for one in findings if one.id == "headroom:field-recordings@heron:pool")


def nights(station: Station, *free: int) -> Iterator[Finding]:
    for one in free:
        yield on_heron(night(station, one * GB))


def test_a_volume_that_fills_is_told_of_in_time_and_a_move_into_it_is_no_reason(growing: Station) -> None:
    first = night(growing, 500 * GB)
    assert on_heron(first).answer is TELLS
    assert "4 more days of history are needed" in on_heron(first).message
    assert first.judged.conclusion is Conclusion.CONFORMING
    assert [one.answer for one in nights(growing, 495, 490, 485)] == [TELLS] * 3
    known = list(nights(growing, 480, 475, 470, 465))
    assert [one.answer for one in known] == [HOLDS] * 4
    assert "+5.0 GB a day" in known[-1].measured

    moved = list(nights(growing, 312, 307, 302))  # 148 GB came at once: nothing grows faster for that
    assert [one.answer for one in moved] == [HOLDS] * 3
    assert "+5.0 GB a day" in moved[-1].measured

    late = night(growing, 297 * GB)
    assert on_heron(late).answer is FAILS
    assert late.judged.conclusion is Conclusion.NONCONFORMING
    assert [(str(full.volume), (full.at - late.judged.started).days) for full in _next(growing, late)] == [
        ("heron:pool", 59)
    ]
    assert '"reached": "' in audit_json(late.judged)
    begun = [change.finding.id for change in late.recorded.transitions if change.finding.rule == "headroom"]
    assert begun == ["headroom:field-recordings@heron:pool"]

    larger = night(growing, 2292 * GB, 3000 * GB)
    assert on_heron(larger).answer is HOLDS
    assert "+5.0 GB a day" in on_heron(larger).measured


def test_a_copy_whose_volume_cannot_take_what_came_is_told_of_on_the_first_night(growing: Station) -> None:
    night(growing, 500 * GB)
    growing.write("kestrel/recordings/season.wav", bytes(3_000_000), age=timedelta(hours=1))
    found = on_heron(night(growing, GB // 500))
    assert found.answer is FAILS
    assert found.message == "heron:pool: 3.0 MB are still to come to it, and only 2.0 MB are free."


def test_explain_tells_of_the_criterion(growing: Station) -> None:
    growing.called("audit")
    told = growing.called("explain", "headroom:field-recordings@heron:pool")
    assert told.status == 0, told.err
    assert "What it asks: the policy's `headroom`" in told.out.replace("\n", " ")
    assert "supports evidence for NIST SP 800-53 Rev. 5 CP-9" in told.out


def _next(station: Station, audited: Audited) -> Sequence[Full]:
    return list(full_next(audited.judged, station.estate, audited.judged.finished))
