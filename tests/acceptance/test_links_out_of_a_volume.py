"""A root that is a link out of its volume is no part of it: whatever it leads to, nothing of it counts."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from coverage_audit.collectors.gather import gather
from coverage_audit.estate.access import LocalAccess, SshAccess
from coverage_audit.estate.sources import DatedFiles
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import Gap, GapKind, PointList
from coverage_audit.evidence.manifest import CompleteManifest
from tests.builders.limits import some_limits
from tests.builders.questions import a_device, a_question
from tests.builders.trees import a_tree
from tests.parts.gates import force_gate, install_gate
from tests.parts.sftp_only import StartSftpOnly
from tests.parts.sshd import StartSshd

Reach = Callable[[], LocalAccess | SshAccess]


@pytest.fixture(params=["here", "over ssh", "through an installed gate", "over sftp alone"])
def reach(
    request: pytest.FixtureRequest, start_sshd: StartSshd, start_sftp_only: StartSftpOnly, tmp_path: Path
) -> Reach:
    """Every way to a device."""

    def installed() -> SshAccess:
        box = start_sshd()
        force_gate(box, install_gate(tmp_path / "gate", f"root {tmp_path}\n"))
        return box.access

    ways: dict[str, Reach] = {
        "here": LocalAccess,
        "over ssh": lambda: start_sshd().access,
        "through an installed gate": installed,
        "over sftp alone": lambda: start_sftp_only().access,
    }
    return ways[request.param]


@pytest.fixture
def pool(tmp_path: Path) -> Path:
    """A volume beside which another one lies, with the same tree."""
    a_tree(tmp_path / "main/recordings", 3)
    a_tree(tmp_path / "pool/real", 3)
    (tmp_path / "staging").mkdir()
    return tmp_path / "pool"


def outcomes(access: LocalAccess | SshAccess, pool: Path, *paths: str) -> list[object]:
    question = a_question(a_device("heron", {"pool": pool}, access), [f"heron:pool/{path}" for path in paths])
    return [tree.outcome for tree in asked(question, pool.parent).trees]


def asked(question: Question, folder: Path) -> Answer:
    (answer,) = gather(
        [question],
        limits=some_limits(),
        staging=folder / "staging",
        seed=bytes(16),
        clock=lambda: datetime.now(UTC),  # noqa: TID251 - the auditor's own clock, as the command line hands it over
        progress=lambda _subject, _entries: None,
    )
    return answer


def test_what_a_link_leads_out_to_is_a_gap_and_no_listing_on_every_way(reach: Reach, pool: Path) -> None:
    (pool / "root").symlink_to(pool.parent / "main/recordings")
    (pool / "part").symlink_to("../main")
    (pool / "beside").symlink_to(pool.parent / "pool2")
    a_tree(pool.parent / "pool2", 3)
    (pool / "inside").symlink_to("real")
    root, part, beside, inside, real = outcomes(reach(), pool, "root", "part/recordings", "beside", "inside", "real")
    for outcome, place in ((root, "main/recordings"), (part, "main/recordings"), (beside, "pool2")):
        assert isinstance(outcome, Gap), outcome
        assert outcome.kind is GapKind.ANOTHER_VOLUME
        assert outcome.detail == f"a link leads out of the volume: it lies in {pool.parent / place}"
    assert isinstance(inside, CompleteManifest)
    assert isinstance(real, CompleteManifest)
    assert sorted(file.name for file in (pool.parent / "staging").iterdir()) == sorted(
        manifest.file.name for manifest in (inside, real)
    )


def test_a_volume_that_is_itself_reached_by_a_link_has_its_trees(reach: Reach, pool: Path) -> None:
    link = pool.parent / "link"
    link.symlink_to("pool")
    (pool / "again").symlink_to(link / "real")
    (pool / "out").symlink_to("../main/recordings")
    real, again, out = outcomes(reach(), link, "real", "again", "out")
    assert isinstance(real, CompleteManifest)
    assert isinstance(again, CompleteManifest)
    assert isinstance(out, Gap)


def test_a_link_into_another_volume_below_is_none_of_this_one(reach: Reach, pool: Path) -> None:
    a_tree(pool / "spare/recordings", 3)
    (pool / "linked").symlink_to("spare/recordings")
    device = a_device("heron", {"pool": pool, "spare": pool / "spare"}, reach())
    trees = asked(a_question(device, ["heron:pool/linked", "heron:spare/recordings"]), pool.parent).trees
    linked, own = (tree.outcome for tree in trees)
    assert isinstance(linked, Gap)
    assert linked.kind is GapKind.ANOTHER_VOLUME
    assert "a link leads to heron:spare" in linked.detail
    assert isinstance(own, CompleteManifest)


@pytest.mark.parametrize("reach", ["here", "over ssh", "through an installed gate"], indirect=True)
def test_points_beyond_a_link_are_none_of_the_copy(reach: Reach, pool: Path) -> None:
    day = datetime(2026, 11, 24, tzinfo=UTC)
    for folder in (pool / "kept", pool.parent / "main/kept"):
        a_tree(folder / f"{day:%Y-%m-%d}", 3)
        (folder / f"{day:%Y-%m-%d}.tar").write_bytes(bytes(5000))
        os.utime(folder / f"{day:%Y-%m-%d}.tar", (day.timestamp() + 86_400, day.timestamp() + 86_400))
    (pool / "dated").symlink_to("../main/kept")
    device = a_device("heron", {"pool": pool}, reach())
    pointed = {f"heron:pool/{folder}/{{point}}": "%Y-%m-%d" for folder in ("dated", "kept")}
    asking = a_question(device, [], pointed)
    files = [
        replace(copy, address=replace(copy.address, path=copy.address.path + ".tar"), points=DatedFiles(pattern=None))
        for copy in asking.pointed
    ]
    answer = asked(replace(asking, pointed=(*asking.pointed, *files)), pool.parent)
    for seen in answer.points:
        if seen.address.path.startswith("dated"):
            assert isinstance(seen.outcome, Gap), seen
            assert seen.outcome.kind is GapKind.ANOTHER_VOLUME
        else:
            assert isinstance(seen.outcome, PointList), seen
            assert [point.earliest.date() for point in seen.outcome.points] == [day.date()]
    assert len(answer.points) == 4
    assert all(isinstance(tree.outcome, CompleteManifest) for tree in answer.trees)
    assert len(answer.trees) == 1


@pytest.mark.parametrize("reach", ["here", "over ssh", "through an installed gate"], indirect=True)
def test_a_dated_point_beyond_a_link_does_not_stand_for_the_newest(reach: Reach, pool: Path) -> None:
    a_tree(pool / "kept/2026-11-23/recordings", 3)
    (pool / "kept/2026-11-24").mkdir()
    (pool / "kept/2026-11-24/recordings").symlink_to(pool.parent / "main/recordings")
    device = a_device("heron", {"pool": pool}, reach())
    answer = asked(a_question(device, [], {"heron:pool/kept/{point}/recordings": "%Y-%m-%d"}), pool.parent)
    (tree,) = answer.trees
    assert tree.address.path == "kept/2026-11-24/recordings"
    assert isinstance(tree.outcome, Gap)
    assert tree.outcome.kind is GapKind.ANOTHER_VOLUME
