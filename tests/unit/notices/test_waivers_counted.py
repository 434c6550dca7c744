"""The first sentence of a notice says how many findings are waived."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coverage_audit.notices.letters import _opening
from tests.builders.recorded import a_finding, a_judged, night


@pytest.mark.parametrize(
    ("waived", "said"),
    [(0, "nonconforming."), (1, "nonconforming, with 1 waiver."), (2, "nonconforming, with 2 waivers.")],
)
def test_waivers_are_counted_in_the_first_sentence(waived: int, said: str) -> None:
    judged = a_judged(night(0), {"field-recordings": [a_finding()]})
    assert _opening(replace(judged, waived=waived)).endswith(said)
