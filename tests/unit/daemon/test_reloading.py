from __future__ import annotations

from pathlib import Path

import pytest

from coverage_audit.daemon.reloading import InForce, first, look
from coverage_audit.errors import EstateError
from tests.builders.two_places import two_places
from tests.parts.station import HEAD

GOOD = HEAD + 'schedule: {audit: "02:30"}\n' + two_places().replace("{root}", "/srv/station")
OTHER = GOOD.replace("Long Barn", "The Long Barn")
UNTIMED = HEAD + two_places().replace("{root}", "/srv/station")
BROKEN = GOOD.replace("policy: careful", "policy: carefull")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    made = tmp_path / "estate.yaml"
    made.write_text(GOOD)
    return made


def looked(file: Path, before: InForce, *texts: str) -> InForce:
    """The estate in force after one look at each of these contents."""
    for text in texts:
        file.write_text(text)
        before = look(file, before)
    return before


def test_at_its_start_the_file_counts_whatever_was_kept(file: Path) -> None:
    begun = first(file, OTHER)
    assert (begun.estate.text, begun.refused) == (GOOD, None)


def test_a_broken_file_at_the_start_leaves_the_estate_in_force_that_was_kept(file: Path) -> None:
    file.write_text(BROKEN)
    begun = first(file, GOOD)
    assert begun.estate.text == GOOD
    assert begun.refused is not None
    assert "carefull" in begun.refused.why


@pytest.mark.parametrize("kept", [None, "nonsense", UNTIMED])
def test_a_broken_file_and_nothing_good_kept_is_refused_with_the_files_own_mistakes(
    file: Path, kept: str | None
) -> None:
    file.write_text(BROKEN)
    with pytest.raises(EstateError, match="carefull"):
        first(file, kept)


@pytest.mark.parametrize("kept", [None, GOOD])
def test_a_good_file_without_a_time_is_refused_even_if_an_earlier_one_had_one(file: Path, kept: str | None) -> None:
    file.write_text(UNTIMED)
    with pytest.raises(EstateError, match=r"no time for the audit is declared \(add, for example, `schedule"):
        first(file, kept)


def test_a_file_that_is_gone_is_as_a_broken_one(file: Path) -> None:
    begun = first(file, None)
    file.unlink()
    gone = look(file, look(file, begun))
    assert gone.refused is not None
    assert gone.estate.text == GOOD


def test_what_is_new_counts_when_it_is_found_the_same_twice(file: Path) -> None:
    begun = first(file, None)
    half = OTHER[: len(OTHER) // 2]
    seen = looked(file, begun, half)
    assert (seen.estate, seen.refused) == (begun.estate, None)
    whole = looked(file, seen, OTHER)
    assert (whole.estate, whole.refused) == (begun.estate, None)
    taken = looked(file, whole, OTHER)
    assert (taken.estate.text, taken.refused, taken.seen) == (OTHER, None, None)


def test_its_owner_may_say_that_it_is_whole(file: Path) -> None:
    begun = first(file, None)
    file.write_text(OTHER)
    assert look(file, begun, at_once=True).estate.text == OTHER


@pytest.mark.parametrize(
    "content", [BROKEN, UNTIMED, "", "\udcff".encode("utf-8", "surrogateescape").decode("latin-1")]
)
def test_a_broken_change_is_refused_and_the_estate_stays(file: Path, content: str) -> None:
    begun = first(file, None)
    refused = looked(file, begun, content, content)
    assert refused.refused is not None
    assert refused.estate is begun.estate
    assert looked(file, refused, content, content) == refused  # weighed once
    assert looked(file, refused, OTHER, OTHER).refused is None


def test_a_broken_change_that_is_taken_back_is_no_refusal_any_more(file: Path) -> None:
    begun = first(file, None)
    back = looked(file, begun, BROKEN, BROKEN, GOOD, GOOD)
    assert (back.estate, back.refused) == (begun.estate, None)
