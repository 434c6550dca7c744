"""How the auditor stands: the gravest thing that applies, whatever else is well."""

from __future__ import annotations

from datetime import timedelta

import pytest

from coverage_audit.audits.status import GRACE, WAITS_TOO_LONG, DatasetStatus, Standing
from coverage_audit.estate.model import DatasetId
from coverage_audit.judgement.verdict import Conclusion
from tests.builders.status import DAY, HOUR, NIGHT, a_dataset, a_queued, a_status, an_audit


def test_a_night_that_went_well_is_good() -> None:
    assert a_status().standing is Standing.GOOD


@pytest.mark.parametrize(
    ("conclusion", "standing"),
    [(Conclusion.NONCONFORMING, Standing.NONCONFORMING), (Conclusion.UNVERIFIED, Standing.UNVERIFIED)],
)
def test_what_the_last_audit_concluded_is_how_it_stands(conclusion: Conclusion, standing: Standing) -> None:
    assert a_status(last=an_audit(conclusion=conclusion)).standing is standing


@pytest.mark.parametrize("conclusion", list(Conclusion))
def test_an_audit_that_is_too_old_says_nothing_whatever_it_concluded(conclusion: Conclusion) -> None:
    old = an_audit(NIGHT - DAY - timedelta(seconds=1), conclusion)
    assert a_status(last=old).standing is Standing.OVERDUE
    just_in_time = an_audit(NIGHT - DAY, conclusion)
    assert a_status(last=just_in_time).standing is not Standing.OVERDUE


def test_without_any_audit_it_is_overdue() -> None:
    status = a_status(last=None)
    assert (status.standing, status.conclusion) == (Standing.OVERDUE, None)


def test_a_notice_that_waits_too_long_outranks_the_conclusion_but_not_an_overdue_audit() -> None:
    waiting = (a_queued(waiting=WAITS_TOO_LONG + HOUR),)
    assert a_status(undelivered=waiting).standing is Standing.UNDELIVERED
    failing = an_audit(conclusion=Conclusion.NONCONFORMING)
    assert a_status(undelivered=waiting, last=failing).standing is Standing.UNDELIVERED
    assert a_status(undelivered=waiting, last=None).standing is Standing.OVERDUE


def test_a_notice_that_waits_for_a_while_is_no_trouble_yet() -> None:
    assert a_status(undelivered=(a_queued(waiting=WAITS_TOO_LONG),)).standing is Standing.GOOD


def test_a_notice_from_a_future_that_has_not_come_is_trouble() -> None:
    # A clock that was ahead put it in: how long it has been waiting cannot be told.
    assert a_status(undelivered=(a_queued(waiting=-40 * DAY),)).standing is Standing.UNDELIVERED
    assert a_status(undelivered=(a_queued(waiting=timedelta(minutes=-4)),)).standing is Standing.GOOD


def test_a_notice_to_an_address_that_is_declared_no_more_is_no_trouble() -> None:
    assert a_status(astray=(a_queued("pager", waiting=40 * DAY),)).standing is Standing.GOOD


def test_a_dataset_that_was_judged_worse_since_counts() -> None:
    datasets = (a_dataset(), a_dataset("photos", Conclusion.NONCONFORMING))
    assert a_status(datasets=datasets).standing is Standing.NONCONFORMING


def test_a_dataset_that_was_never_judged_is_not_covered() -> None:
    datasets = (a_dataset(), DatasetStatus(id=DatasetId("photos"), last=None))
    assert a_status(datasets=datasets).standing is Standing.UNVERIFIED


def test_a_dataset_that_was_judged_better_since_does_not_settle_the_rest() -> None:
    failing = an_audit(conclusion=Conclusion.NONCONFORMING)
    assert a_status(last=failing, datasets=(a_dataset(),)).standing is Standing.NONCONFORMING


def test_the_times_that_the_documents_state() -> None:
    assert (timedelta(hours=8), timedelta(hours=24)) == (GRACE, WAITS_TOO_LONG)
