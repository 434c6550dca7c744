"""One night, in its own process: audit, put the news into the outbox, end the night.

In this order, so that a kill anywhere before the end lets the same night be audited again.
"""

from __future__ import annotations

from functools import partial

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.daemon.errands import NightErrand
from coverage_audit.estate.reader import estate_of
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.reports.page import audited_page
from coverage_audit.wiring import Clock, assembled, put_tidings, wall_clock


def audit_night(errand: NightErrand, *, clock: Clock = wall_clock) -> str:
    """Audit a night that has not ended; return what was concluded.

    Raises LedgerBusyError while another audit runs, and what `run_audit` raises where the auditor's own machine fails.
    """
    estate = estate_of(errand.text, errand.file)
    night = errand.night
    with assembled(estate, errand.state, clock=clock) as parts:
        nights = parts.ledger.nights
        if night.of in nights.done():
            return "it had ended before"
        begun = NightRecord(night=night.of, started=clock(), missed=night.missed, missed_since=night.missed_since)
        nights.begin(begun.night, begun.started, missed=begun.missed, missed_since=begun.missed_since)
        audited = run_audit(estate, (), parts)
        put_tidings(estate, audited, parts.ledger, partial(audited_page, estate, audited), night=begun)
        nights.end(night.of, clock(), NightOutcome.AUDITED, audit=audited.recorded.audit)
    return _said(audited)


def _said(audited: Audited) -> str:
    judged = audited.judged
    fine = sum(dataset.conclusion is Conclusion.CONFORMING for dataset in judged.datasets)
    return f"{judged.conclusion.value}, {fine} of {len(judged.datasets)} datasets conforming"
