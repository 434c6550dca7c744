"""Who is silent because nobody listens says so."""

from __future__ import annotations

import pytest

from coverage_audit.estate.model import NoticeKind, NoticeTarget, PolicyId
from coverage_audit.notices.unheard import unheard
from tests.builders.outbox import a_target, an_estate

SUMMARY = frozenset({NoticeKind.SUMMARY})
POLICY = an_estate().datasets[0].policy


@pytest.mark.parametrize(
    ("targets", "said"),
    [
        ([], "Nobody is told what fails"),
        ([a_target(send=SUMMARY)], "Nobody is told what fails"),
        ([a_target(policies=frozenset({PolicyId("other")}))], "Nobody is told when field-recordings fails"),
        ([a_target(policies=frozenset({PolicyId("other")})), a_target("page", send=SUMMARY)], "field-recordings fails"),
    ],
)
def test_what_no_address_hears_is_named(targets: list[NoticeTarget], said: str) -> None:
    assert said in (unheard(an_estate(*targets)) or "")


@pytest.mark.parametrize(
    "targets",
    [
        [a_target()],
        [a_target(policies=frozenset({POLICY}))],
        [a_target(policies=frozenset({PolicyId("other")})), a_target("page")],
    ],
)
def test_what_some_address_hears_is_heard(targets: list[NoticeTarget]) -> None:
    assert unheard(an_estate(*targets)) is None
