"""One weekly page, in its own process."""

from __future__ import annotations

from coverage_audit.daemon.errands import PageErrand
from coverage_audit.estate.reader import estate_of
from coverage_audit.wiring import Clock, make_summary, reading, wall_clock


def make_page(errand: PageErrand, *, clock: Clock = wall_clock) -> str:
    """Make the page of a date, once; return what was done.

    Raises LedgerBusyError while another process makes one, LedgerError, ReportError.
    """
    estate = estate_of(errand.text, errand.file)
    with reading(errand.state) as ledger:
        made = make_summary(estate, ledger, errand.page_of, clock=clock)
    return f"{made.kept.name}, {'to be sent' if made.sent else 'it went out before'}"
