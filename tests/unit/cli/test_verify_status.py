"""With what `verify` ends: 0 says that the content is shown to be right, so nothing may be unread then."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from coverage_audit.cli.verify import status_of
from coverage_audit.errors import EX_CONFORMING, EX_EVIDENCE_MISSING
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.verified import Sampled, Verified, WholeReading
from tests.builders.cases import a_case, a_copy, a_gap, judged
from tests.builders.station import HERON, POLICY, RECORDINGS, STARTED

SAMPLE = Sampled(began=STARTED, ended=STARTED, population=Tally(files=500, bytes=9), asked=224, same=224)
WHOLE = WholeReading(
    asked=STARTED, ended=STARTED, same=Tally(files=500, bytes=9), differing=0, not_shown=0, changed=0, left=Tally(),
    seconds=1.0,
)  # fmt: skip
READ = Verified(last=SAMPLE, whole=WHOLE)


def status(known: Verified | None) -> int:
    """Its policy asks for no reading: only what was read on wish is told."""
    copy = a_copy(HERON, RECORDINGS.copies[0], verified=known)
    return status_of(judged(a_case(copy, policy=replace(POLICY, verify=None))))


def test_all_that_was_to_be_read_was_read_and_is_right() -> None:
    assert status(READ) == EX_CONFORMING


@pytest.mark.parametrize(
    "known",
    [
        None,
        replace(READ, last=None),
        replace(READ, last=replace(SAMPLE, same=0)),
        replace(READ, last=replace(SAMPLE, same=223, not_shown=1)),
        replace(READ, last=replace(SAMPLE, same=223, fallen=1)),
        replace(READ, running=replace(SAMPLE, began=STARTED + timedelta(hours=1), ended=None)),
        replace(READ, whole=replace(WHOLE, not_shown=1)),
        replace(READ, whole=replace(WHOLE, ended=None)),
        replace(READ, why_not=a_gap()),
    ],
)
def test_anything_that_was_not_read_is_no_success(known: Verified | None) -> None:
    assert status(known) == EX_EVIDENCE_MISSING
