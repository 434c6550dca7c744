from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import estate_of
from coverage_audit.estate.tightening import Asked, Turn, asked_otherwise
from tests.builders.estate_file import SMALL


def read(text: str) -> Estate:
    return estate_of(text, Path("estate.yaml"))


def asked(*pieces: tuple[str, str]) -> tuple[Asked, ...]:
    """What is asked otherwise once these pieces of the small estate are exchanged."""
    text = SMALL
    for old, new in pieces:
        assert old in text
        text = text.replace(old, new)
    return asked_otherwise(read(SMALL), read(text))


def policy(said: str) -> tuple[Asked, ...]:
    return asked(("plain: {copies: 2, max_age: 26h}", f"plain: {{{said}}}"))


def test_the_same_asks_nothing_otherwise() -> None:
    assert asked() == ()


@pytest.mark.parametrize(
    ("said", "direction"),
    [
        ("copies: 3, max_age: 26h", "tightened"),
        ("copies: 1, max_age: 26h", "loosened"),
        ("copies: 2, max_age: 12h", "tightened"),
        ("copies: 2, max_age: 3d", "loosened"),
        ("copies: 2, max_age: 26h, offsite: 1", "tightened"),
        ("copies: 2, max_age: 26h, media: 1, offline: 1", "tightened"),
        ("copies: 2, max_age: 26h, proof: dated", "loosened"),
        ("copies: 2, max_age: 26h, keep: {daily: 7}", "tightened"),
        ("copies: 2, max_age: 26h, headroom: 60d", "tightened"),
        ("copies: 2, max_age: 26h, rhythm: 1d", "tightened"),
        ('copies: 2, max_age: 26h, dump_size: "50%"', "tightened"),
        ('copies: 2, max_age: 26h, verify: {confidence: "95%", tolerable: "1%", every: 7d}', "tightened"),
        ("copies: 2, max_age: 26h, drill: {every: 90d}", "tightened"),
        ('copies: 2, max_age: 26h, shrinkage: "10%"', "tightened"),
        ("copies: 2, max_age: 26h, immutable: 1", "tightened"),
        ("copies: 2, max_age: 26h, restore_within: 3d", "tightened"),
        ("copies: 3, max_age: 3d", "changed"),
    ],
)
def test_a_policy_is_tightened_or_loosened_by_each_criterion(said: str, direction: str) -> None:
    (found,) = policy(said)
    assert (found.part, found.name, found.direction) == ("policy", "plain", direction)


def test_a_criterion_that_is_dropped_is_loosened() -> None:
    offsite = ("max_age: 26h}", "max_age: 26h, offsite: 1}")
    before = read(SMALL.replace(*offsite))
    (found,) = asked_otherwise(before, read(SMALL))
    assert found.turns == (Turn(what="offsite", before="1", now=None, tighter=False),)


@pytest.mark.parametrize(
    ("criterion", "said", "tighter", "looser"),
    [
        ("headroom: {}", ("60d", "60 days"), "90d", "30d"),
        ("drill: {{every: {}}}", ("90d", "90 days"), "30d", "180d"),
        ("restore_within: {}", ("3d", "3 days"), "1d", "7d"),
        ('shrinkage: "{}"', ("10%", "10%"), "5%", "20%"),
        ('dump_size: "{}"', ("50%", "50%"), "80%", "20%"),
        ("immutable: {}", ("2", "2"), "3", "1"),
    ],
)
def test_each_figure_is_tighter_the_more_it_asks(
    criterion: str, said: tuple[str, str], tighter: str, looser: str
) -> None:
    def with_it(value: str) -> Estate:
        return read(SMALL.replace("max_age: 26h}", f"max_age: 26h, {criterion.format(value)}}}"))

    for value, direction in ((tighter, "tightened"), (looser, "loosened")):
        (found,) = asked_otherwise(with_it(said[0]), with_it(value))
        assert (found.direction, found.turns[0].before) == (direction, said[1])


def test_a_criterion_that_cannot_be_judged_and_reads_otherwise_turned_nobody_knows_where() -> None:
    before = read(SMALL.replace("max_age: 26h}", "max_age: 26h, keep: {daily: 7}}"))
    (found,) = asked_otherwise(before, read(SMALL.replace("max_age: 26h}", "max_age: 26h, keep: {weekly: 9}}")))
    (turn,) = found.turns
    assert (turn.what, turn.tighter, found.direction) == ("keep", None, "changed")


def test_the_words_say_what_was_asked_and_what_is() -> None:
    (found,) = policy("copies: 2, max_age: 3d")
    assert found.turns == (Turn(what="max_age", before="26 h", now="3 days", tighter=False),)


def test_a_dataset_under_another_policy_is_asked_what_that_asks() -> None:
    other = (
        "plain: {copies: 2, max_age: 26h}",
        "plain: {copies: 2, max_age: 26h}\n  strict: {copies: 3, max_age: 26h}",
    )
    (found,) = asked(other, ("policy: plain", "policy: strict"))
    assert (found.part, found.name, found.under) == ("dataset", "survey-sheets", ("plain", "strict"))
    assert found.direction == "tightened"


def test_a_dataset_under_another_policy_that_asks_the_same_is_told_of_without_a_turn() -> None:
    other = ("plain: {copies: 2, max_age: 26h}", "plain: {copies: 2, max_age: 26h}\n  even: {copies: 2, max_age: 26h}")
    (found,) = asked(other, ("policy: plain", "policy: even"))
    assert (found.under, found.turns) == (("plain", "even"), ())
    assert found.direction == "changed"


def test_a_copy_with_criteria_of_its_own_is_held_against_what_its_policy_asks() -> None:
    (found,) = asked(("- at: heron:pool/sheets", "- {at: 'heron:pool/sheets', max_age: 7d}"))
    assert (found.part, found.name) == ("copy", "survey-sheets@heron:pool/sheets")
    assert found.turns == (Turn(what="max_age", before="26 h", now="7 days", tighter=False),)


def test_a_copy_that_moved_and_a_dataset_and_a_box_that_were_renamed_are_the_same() -> None:
    moved = "- {at: 'bittern:pool/paper', moved_from: ['heron:pool/sheets'], max_age: 7d}"
    (found,) = asked(
        ("- at: heron:pool/sheets", moved),
        ("  survey-sheets:\n", "  sheets:\n    formerly: [survey-sheets]\n"),
        ("  heron:\n", "  bittern:\n    formerly: [heron]\n"),
    )
    assert (found.name, found.direction) == ("sheets@bittern:pool/paper", "loosened")


def test_what_came_and_what_went_is_not_asked_otherwise() -> None:
    found = asked(("  survey-sheets:", "  sheets:"), ("plain", "other"))
    assert found == ()
