"""The index of the weekly pages that were made: one self-contained file beside them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta
from itertools import groupby
from urllib.parse import quote

from coverage_audit.estate.model import Estate
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.judgement.wording import when
from coverage_audit.ledger.past_record import AuditDay, SummaryRecord
from coverage_audit.reports.instants import short_span
from coverage_audit.reports.lead import FRESH
from coverage_audit.reports.templating import render


@dataclass(frozen=True, kw_only=True)
class PageView:
    """One page: its date in words, where it lies beside the index, what its audit concluded (None: not known).

    `old`: how long before the page that audit had ended, where that was too long to prove anything of the day.
    """

    date: str
    link: str
    made: str
    conclusion: Conclusion | None
    old: str | None
    sent: bool


@dataclass(frozen=True, kw_only=True)
class YearOfPages:
    """The pages of one year, the newest first."""

    year: int
    pages: tuple[PageView, ...]


def archive_index(
    records: Iterable[SummaryRecord], estate: Estate | None = None, *, audits: Sequence[AuditDay] = ()
) -> str:
    """Make the index. `audits` are those whose conclusions are known: each page rests on the last before it was made.

    `estate` gives the name and the zone (None: no name, UTC). Raises ReportError where the template cannot be filled.
    """
    newest_first = sorted(records, key=lambda record: record.page_of, reverse=True)
    whole = sorted((audit for audit in audits if audit.whole), key=lambda audit: audit.finished)
    years = tuple(
        YearOfPages(year=year, pages=tuple(_page(record, estate, whole) for record in some))
        for year, some in groupby(newest_first, key=lambda record: record.page_of.year)
    )
    return render("archive.html", name=estate.name if estate else None, years=years, count=len(newest_first))


def _page(record: SummaryRecord, estate: Estate | None, whole: Sequence[AuditDay]) -> PageView:
    made = record.made
    told = [audit for audit in whole if audit.finished <= made]
    age = made - told[-1].finished if told else timedelta(0)
    return PageView(
        date=f"{record.page_of:%a} {record.page_of}",
        link=quote(record.file, safe=""),
        made=when(made, estate.time_zone) if estate else f"{made.astimezone(UTC):%Y-%m-%d %H:%M} UTC",
        conclusion=told[-1].conclusion if told else None,
        old=short_span(age) if age > FRESH else None,
        sent=record.sent is not None,
    )
