"""The file of figures, where the estate names one: written when a night has ended, and now and then in between."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from coverage_audit.audits.status import status_of
from coverage_audit.daemon.log import Log
from coverage_audit.daemon.metrics import write_metrics
from coverage_audit.daemon.timetable import timetable
from coverage_audit.errors import ReportError
from coverage_audit.estate.model import Estate
from coverage_audit.ledger.ledger import Ledger

EVERY: Final = timedelta(minutes=10)


class Figures:
    """Writes the figures of one daemon; a file that cannot be written is said once for each reason."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._written: datetime | None = None
        self._said = ""

    def write(self, estate: Estate, ledger: Ledger, now: datetime, *, news: bool) -> None:
        """Write them where there is `news`, or where the last are old by whatever clock. Raises LedgerError."""
        if estate.metrics_file is None:
            return
        if not news and self._written is not None and abs(now - self._written) < EVERY:
            return
        self._written = now
        try:
            write_metrics(estate.metrics_file, status_of(estate, ledger, now, timetable(estate, now)))
            self._said = ""
        except ReportError as error:
            if self._said != str(error):
                self._log.trouble("figures not written", why=str(error))
            self._said = str(error)
