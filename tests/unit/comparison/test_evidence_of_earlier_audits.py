"""Evidence of earlier audits that is gone, damaged or foreign: never a clean answer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.errors import ComparisonError
from coverage_audit.evidence.difference import RowVerdict
from tests.builders.manifests import STARTED as NOW
from tests.builders.manifests import a_manifest
from tests.builders.stories import DAY, HOUR, LAST_NIGHT, Story, a_file, old_files


@pytest.fixture
def story(tmp_path: Path) -> Story:
    return Story(folder=tmp_path)


def test_an_original_seen_as_of_an_earlier_audit_tells_what_the_copy_lost(story: Story) -> None:
    original = story.manifest(old_files(), LAST_NIGHT)
    story.audit(LAST_NIGHT, original, old_files())

    seen = story.audit(NOW, original, old_files()[1:])

    assert seen.went_back.files == 1


def two_audits(story: Story) -> None:
    story.audit(LAST_NIGHT, old_files(), old_files()[1:])


def test_a_relation_that_is_gone_is_no_clean_answer(story: Story) -> None:
    two_audits(story)
    assert story.earlier is not None
    assert story.earlier.relation is not None
    story.earlier.relation.unlink()

    with pytest.raises(ComparisonError, match=r"carried-.*parquet"):
        story.audit(NOW, old_files(), old_files()[1:])


@pytest.mark.parametrize("keep", [0, 10, 0.5, 0.98])
def test_a_relation_that_is_cut_is_no_clean_answer(story: Story, keep: float) -> None:
    two_audits(story)
    assert story.earlier is not None
    assert story.earlier.relation is not None
    whole = story.earlier.relation.read_bytes()
    story.earlier.relation.write_bytes(whole[: int(keep if keep > 1 else keep * len(whole))])

    with pytest.raises(ComparisonError):
        story.audit(NOW, old_files(), old_files()[1:])


def test_a_raw_relation_does_not_pass_for_a_kept_one(story: Story) -> None:
    two_audits(story)
    assert story.earlier is not None
    raw = next(story.folder.glob("differences-*"))
    story.earlier = replace(story.earlier, relation=raw)

    with pytest.raises(ComparisonError, match="carried"):
        story.audit(NOW, old_files(), old_files()[1:])


def test_a_raw_relation_that_lost_rows_is_refused(story: Story) -> None:

    original, copy = story.manifest(old_files(), NOW), story.manifest(old_files()[1:], NOW)
    matched = replace(match(original, copy, leave_out=(), work=story.work), rows=2)

    with pytest.raises(ComparisonError, match="2 were found"):
        carry(matched, None, now=NOW, look=None, max_age=DAY, work=story.work)


def test_a_kept_listing_that_is_gone_is_no_clean_answer(story: Story) -> None:
    two_audits(story)
    assert story.earlier is not None
    story.earlier.originals[0][1].unlink()

    with pytest.raises(ComparisonError, match="kept listing"):
        story.audit(NOW, [*old_files(), a_file(b"new", HOUR)], old_files())


def test_listings_and_relations_of_another_seed_are_refused(story: Story) -> None:
    two_audits(story)
    assert story.earlier is not None
    foreign = a_manifest(story.folder, old_files(), seed=b"another", started=LAST_NIGHT)
    story.earlier = replace(story.earlier, originals=((LAST_NIGHT, foreign.file),))

    with pytest.raises(ComparisonError, match="another seed"):
        story.audit(NOW, [*old_files(), a_file(b"new", HOUR)], old_files())


def test_a_clock_that_went_back_makes_nothing_younger(story: Story) -> None:
    two_audits(story)

    with pytest.raises(ComparisonError, match="clock went back"):
        story.audit(LAST_NIGHT - HOUR, old_files(), old_files())


def test_where_the_last_relation_was_lost_nothing_is_pending_that_the_listings_do_not_show_to_be_new(
    story: Story,
) -> None:
    old = a_file(b"lacking", 20 * HOUR, ctime=20 * HOUR)
    story.audit(LAST_NIGHT, [*old_files(), old], old_files())
    assert story.earlier is not None
    story.earlier = replace(story.earlier, relation=None)

    seen = story.audit(NOW, [*old_files(), old, a_file(b"new", HOUR)], old_files())

    rows = story.rows()
    assert not seen.first_audit
    assert rows[b"lacking"].verdict is RowVerdict.BETWEEN
    assert rows[b"new"].verdict is RowVerdict.PENDING


def test_what_was_left_out_until_now_was_neither_held_nor_lost(story: Story) -> None:
    wild = a_file(b"cache/x", HOUR, now=LAST_NIGHT)
    story.audit(LAST_NIGHT, [*old_files(), wild], old_files(), leave_out=["cache/"])

    seen = story.audit(NOW, [*old_files(), wild], old_files())

    assert (seen.went_back.files, seen.pending_rows) == (0, 0)
