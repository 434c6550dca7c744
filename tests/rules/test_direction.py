"""When the rule says that the work is done in the copy."""

from __future__ import annotations

import pytest

from coverage_audit.evidence.direction import Direction
from coverage_audit.judgement.verdict import Answer
from tests.builders.cases import a_case, a_comparison, a_copy, judged_dataset
from tests.builders.station import CURLEW, HERON, RECORDINGS, STARTED

NEAR, FAR = RECORDINGS.copies


@pytest.mark.parametrize(
    ("figures", "answer"),
    [
        ({"made_in_copy": 6, "made_in_original": 2}, Answer.UNVERIFIED),
        ({"made_in_copy": 6, "made_in_original": 6}, None),
        ({"made_in_copy": 4}, None),
        ({"copy_first": 9, "original_first": 1}, Answer.OBSERVATION),
        ({"copy_first": 8, "original_first": 1}, None),
        ({"copy_first": 4}, None),
        ({"original_first": 900, "made_in_original": 900}, None),
    ],
)
def test_a_copy_that_leads_is_where_the_work_is_done(figures: dict[str, int], answer: Answer | None) -> None:
    leads = Direction(since=STARTED, example=b"take.wav", **figures)
    case = a_case(a_copy(HERON, NEAR, comparison=a_comparison(direction=leads)), a_copy(CURLEW, FAR))

    dataset = judged_dataset(case)
    found = [f for f in dataset.findings if f.rule == "direction"]

    assert [f.answer for f in found] == ([answer] if answer else [])
    assert all(
        f.message.startswith("heron:pool/mirror/recordings looks as if it is where the work is done") for f in found
    )
    assert dataset.conclusion == ("unverified" if answer is Answer.UNVERIFIED else "conforming")
