"""A volume that is taken away between the moment at which it showed itself and the walk."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from coverage_audit.collectors import asking, walking
from coverage_audit.collectors.errands import AuditorClock, Walk
from coverage_audit.collectors.transports.local import LocalTransport
from coverage_audit.evidence.collected import SeenTree
from coverage_audit.evidence.facts import Gap, GapKind
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.evidence.progress import silent
from tests.builders.limits import some_limits
from tests.builders.questions import a_device, a_question
from tests.parts.loops import LoopVolume, MakeVolume

pytestmark = pytest.mark.root


@pytest.fixture
def disk(make_volume: MakeVolume, tmp_path: Path) -> LoopVolume:
    """A disk with a tree on it, over a folder that holds a tree of its own."""
    folder = tmp_path / "pool"
    (folder / "recordings").mkdir(parents=True)
    (folder / "recordings" / "old.wav").write_bytes(b"left below")
    disk = make_volume(folder)
    (folder / "recordings").mkdir()
    (folder / "recordings" / "new.wav").write_bytes(b"on the disk")
    return disk


def tree_of(disk: LoopVolume, tmp_path: Path) -> SeenTree:
    errand = Walk(
        question=a_question(a_device("heron", {"pool": disk.folder}), ["heron:pool/recordings"]),
        limits=some_limits(),
        staging=tmp_path,
        seed=bytes(16),
        clock=AuditorClock(read=datetime(2026, 11, 25, 4, 10, tzinfo=UTC), monotonic=time.monotonic()),
        deadline=time.monotonic() + 60,
        memory=1 << 28,
    )
    words = list(asking.ask(errand, LocalTransport(), silent))
    return next(word for word in words if isinstance(word, SeenTree))


def test_a_disk_that_stays_is_walked(disk: LoopVolume, tmp_path: Path) -> None:
    assert isinstance(tree_of(disk, tmp_path).outcome, CompleteManifest)


def test_what_lay_below_a_disk_that_was_unmounted_before_the_walk_is_no_evidence(
    disk: LoopVolume, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = walking.walk

    def unmounted_first(*what: Any) -> Any:
        disk.unmount()
        return real(*what)

    monkeypatch.setattr(asking, "walk", unmounted_first)

    outcome = tree_of(disk, tmp_path).outcome

    assert isinstance(outcome, Gap)
    assert outcome.kind is GapKind.ANOTHER_VOLUME
