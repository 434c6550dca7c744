"""The index of weekly pages."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta

from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.past_record import SummaryRecord
from coverage_audit.reports.archive import archive_index
from tests.builders.judged import an_estate
from tests.builders.past_days import an_audit

MADE = datetime(2026, 11, 23, 7, 0, tzinfo=UTC)


def a_record(made: datetime = MADE, file: str = "", *, sent: bool = True) -> SummaryRecord:
    day = made.date()
    return SummaryRecord(page_of=day, made=made, file=file or f"{day}.html", sent=made if sent else None)


def rows(page: str) -> list[str]:
    return [re.sub(r"<[^>]+>| +", " ", row) for row in re.findall(r'<tr role="row"><th role="rowheader".*?</tr>', page)]


def test_pages_are_linked_the_newest_first_and_by_year() -> None:
    days = (MADE, MADE - timedelta(days=7), MADE - timedelta(days=350))
    page = archive_index(map(a_record, sorted(days)))
    assert re.findall(r'href="([^"#d][^"]*)"', page) == ["2026-11-23.html", "2026-11-16.html", "2025-12-08.html"]
    assert re.findall(r'<h2 id="year-(\d+)">', page) == ["2026", "2025"]
    assert "The newest is of Mon 2026-11-23." in page
    assert page.index("<details") > page.index("2026-11-16.html")  # of the years only the last stands open


def test_each_page_bears_what_its_audit_concluded() -> None:
    audits = (
        an_audit(MADE - timedelta(days=7, hours=3), Conclusion.NONCONFORMING),
        an_audit(MADE - timedelta(hours=3)),
        an_audit(MADE - timedelta(hours=1), Conclusion.UNVERIFIED, whole=False),
        an_audit(MADE + timedelta(hours=3), Conclusion.UNVERIFIED),
    )
    records = [a_record(), a_record(MADE - timedelta(days=7)), a_record(MADE - timedelta(days=14))]
    newest, before, first = rows(archive_index(records, an_estate(), audits=audits))
    assert "conforming" in newest
    assert "nonconforming" in before
    assert "not known" in first


def test_a_page_of_an_old_audit_says_so() -> None:
    (row,) = rows(archive_index([a_record()], an_estate(), audits=(an_audit(MADE - timedelta(days=5)),)))
    assert "conforming  4 days old" in row.replace("   ", "  ")


def test_what_did_not_go_out_is_marked_and_times_are_the_estates() -> None:
    summer = datetime(2026, 7, 6, 6, 0, tzinfo=UTC)
    (row,) = rows(archive_index([a_record(summer, sent=False)], an_estate()))
    assert "2026-07-06 07:00 IST, not sent" in row
    assert "2026-07-06 06:00 UTC" in archive_index([a_record(summer)])


def test_without_pages_it_says_so() -> None:
    page = archive_index([], an_estate())
    assert "None was made yet." in page
    assert "<table" not in page


def test_a_hostile_file_name_leads_nowhere() -> None:
    for name in ('javascript:alert(1)//"><script>x</script>', "../../etc/passwd", "//evil.example/x"):
        page = archive_index([SummaryRecord(page_of=date(2026, 11, 23), made=MADE, file=name)])
        (link,) = re.findall(r'<th role="rowheader" scope="row"><a href="([^"]*)"', page)
        assert re.fullmatch(r"[A-Za-z0-9%._-]+", link)
        assert "<script" not in page
