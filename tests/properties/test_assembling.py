"""Whatever a worker said before it was ended: all that was asked has an outcome, as seen or as a gap of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from coverage_audit.collectors.assembling import assemble, point_to_walk
from coverage_audit.collectors.errands import Ended, Inbox, SeenDevice, SeenVolume, Word, packed
from coverage_audit.evidence.collected import SeenPoints, SeenTree
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, PointList, RecoveryPoint, VolumeFacts
from tests.builders.questions import a_device, a_question, an_address

AT = datetime(2026, 11, 25, 4, 10, tzinfo=UTC)
DEVICE = a_device("heron", {"pool": Path("/srv/pool"), "spare": Path("/srv/spare")})
DATED = an_address("heron:pool/{point}/recordings")
QUESTION = a_question(DEVICE, ["heron:pool/mirror", "heron:spare/herbarium"], {str(DATED): "%Y-%m-%d"})
SEEN_GAP = Gap(subject="heron:pool/mirror", kind=GapKind.UNREADABLE, detail="as it was seen", at=AT)
POINTS = PointList(
    address=DATED,
    at=AT,
    points=tuple(RecoveryPoint(name=f"2026-11-{day}", earliest=AT, latest=AT) for day in (22, 23, 24)),
)
NEWEST = DATED.at_point("2026-11-24")
SAID: list[Word] = [
    SeenDevice(outcome=DeviceFacts(device=DEVICE.id, at=AT, over="ssh")),
    *(
        SeenVolume(volume=volume.key, outcome=VolumeFacts(volume=volume.key, at=AT, path=volume.path))
        for volume in DEVICE.volumes
    ),
    SeenTree(address=an_address("heron:pool/mirror"), outcome=SEEN_GAP),
    SeenPoints(address=DATED, outcome=POINTS),
    SeenTree(address=NEWEST, outcome=replace(SEEN_GAP, subject=str(NEWEST)), point_of=DATED),
]
LACKING = Ended(kind=GapKind.TIME_LIMIT, detail="too late")


@given(st.lists(st.sampled_from(range(len(SAID))), unique=True))
def test_every_subject_has_exactly_one_outcome_and_a_gap_is_its_own(chosen: list[int]) -> None:
    words = [SAID[number] for number in chosen]
    answer = assemble(QUESTION, words, lacking=LACKING, at=AT)
    assert [str(volume.key) for volume in DEVICE.volumes] == [_subject(outcome) for outcome in answer.volumes]
    addresses = [tree.address for tree in answer.trees]
    assert len(addresses) == len(set(addresses))
    assert set(QUESTION.trees) <= set(addresses)
    assert [points.address for points in answer.points] == [DATED]
    for outcome, subject in [
        (answer.facts, "heron"),
        *((tree.outcome, str(tree.address)) for tree in answer.trees),
        *((points.outcome, str(points.address)) for points in answer.points),
    ]:
        if isinstance(outcome, Gap):
            assert outcome.subject == subject
            assert outcome.kind in {GapKind.TIME_LIMIT, GapKind.UNREADABLE}


@given(st.lists(st.sampled_from(range(len(SAID))), unique=True))
def test_what_was_said_is_kept_as_it_was_said(chosen: list[int]) -> None:
    words = [SAID[number] for number in chosen]
    answer = assemble(QUESTION, words, lacking=LACKING, at=AT)
    for word in words:
        match word:
            case SeenDevice():
                assert answer.facts == word.outcome
            case SeenVolume():
                assert word.outcome in answer.volumes
            case SeenTree():
                assert word in answer.trees
            case SeenPoints():
                assert word in answer.points
            case _:
                raise AssertionError(word)


def test_listed_points_whose_newest_was_not_walked_leave_a_gap_of_that_point() -> None:
    answer = assemble(QUESTION, [SeenPoints(address=DATED, outcome=POINTS)], lacking=LACKING, at=AT)
    (tree,) = (tree for tree in answer.trees if tree.point_of == DATED)
    assert tree.address == NEWEST
    assert isinstance(tree.outcome, Gap)


def test_where_every_point_is_skipped_none_is_walked() -> None:
    skipping = replace(QUESTION, skip_points=frozenset(DATED.at_point(point.name) for point in POINTS.points))
    assert point_to_walk(skipping, skipping.pointed[0], POINTS) is None


@given(st.lists(st.sampled_from(SAID), max_size=5), st.integers(1, 50), st.integers(0, 40))
def test_words_come_through_a_pipe_whole_or_not_at_all(words: list[Word], piece: int, cut: int) -> None:
    sent = b"".join(map(packed, words))
    whole = sent[: max(0, len(sent) - cut)]
    inbox = Inbox()
    taken = [word for at in range(0, len(whole), piece) for word in inbox.take(whole[at : at + piece])]
    assert taken == words[: len(taken)]
    assert len(taken) == len(words) or cut > 0


def _subject(outcome: VolumeFacts | Gap) -> str:
    return outcome.subject if isinstance(outcome, Gap) else str(outcome.volume)
