"""What a comparison saw beside what differs, as people read it."""

from __future__ import annotations

import pytest

from coverage_audit.evidence.difference import Seen, Sight
from coverage_audit.judgement.sights import about_sights
from tests.builders.cases import a_comparison


@pytest.mark.parametrize("sight", list(Sight))
def test_every_sight_has_a_sentence_with_its_count_and_example(sight: Sight) -> None:
    (said,) = about_sights(a_comparison(sights=(Seen(sight=sight, entries=7, example=b"{e}\n", beside=b"{b}"),)))

    assert "7" in said
    assert "\n" not in said
    assert sight in {Sight.RETIMED, Sight.UNSOUGHT} or r"{e}\n" in said


def test_a_collision_names_both() -> None:
    seen = Seen(sight=Sight.COLLIDING, entries=1, example=b"heron", beside=b"Heron")

    (said,) = about_sights(a_comparison(sights=(seen,)))

    assert "“heron” collides with “Heron” in the copy" in said
