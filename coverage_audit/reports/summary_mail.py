"""The weekly mail: the page's first screens in a form that mail programs render; the page itself goes with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.model import Estate
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Conclusion, JudgedEstate
from coverage_audit.ledger.outgoing import OutgoingKind
from coverage_audit.ledger.past_record import LookBack
from coverage_audit.notices.mail_form import as_html
from coverage_audit.notices.message import Entry, Letter, Message, Section
from coverage_audit.notices.reading import Asked
from coverage_audit.notices.writing import as_short, as_text
from coverage_audit.reports.chart import ChartRow, row_of
from coverage_audit.reports.days import span_of
from coverage_audit.reports.fallback_picture import copies_said, fallback_picture, said_of_rows
from coverage_audit.reports.lead import lead
from coverage_audit.reports.mail_sections import due_section, week_section, worries_section
from coverage_audit.reports.mail_subject import no_audit_subject, week_subject
from coverage_audit.reports.mail_year import year_section
from coverage_audit.reports.page_words import Clock
from coverage_audit.reports.present import Present, as_declared_now
from coverage_audit.reports.running_out import due_next
from coverage_audit.reports.situation import situation, worst_first
from coverage_audit.reports.week import week_view
from coverage_audit.reports.worries import worries_view

_ROWS: Final = 12
"""So many datasets the chart of the mail shows, the worst first; the page shows all."""
_ATTACHED: Final = "The page with all of it, and the evidence, is attached."
_UNSEEN: Final = "What was not observed is unverified; it is never counted as covered."


@dataclass(frozen=True, kw_only=True)
class WeeklyMail:
    """The mail of a week before it is anybody's."""

    subject: str
    letter: Letter

    def to(self, reader: Asked | None = None) -> Message:
        """Return the message to one address; `reader` is what it says of those who read what goes there."""
        letter = self.letter
        if reader is not None:
            notes, closing = (*letter.notes, *reader.notes), (*letter.closing, *reader.closing)
            letter = replace(letter, notes=notes, closing=closing)
        return Message(
            subject=self.subject,
            text=as_text(letter),
            html=as_html(letter),
            short=as_short(letter),
            pictures=letter.pictures,
            kind=OutgoingKind.SUMMARY,
        )


def weekly_mail(  # noqa: PLR0913 - all that it tells
    judged: JudgedEstate | None,
    estate: Estate,
    back: LookBack,
    *,
    since: Mapping[str, datetime],
    week_from: datetime,
    now: datetime,
    unjudged: Sequence[EstateChange] = (),
) -> WeeklyMail:
    """Return the mail of the week after `week_from`, at `now`; what it says is what `weekly_page` says of the same.

    Whoever sends it attaches the page. Raises ReportError where the pictures cannot be drawn.
    """
    clock = Clock(zone=estate.time_zone, now=now)
    made = f"Weekly mail, {clock.moment(now).text}"
    if judged is None:
        return WeeklyMail(subject=no_audit_subject(estate.name), letter=_no_audit(estate, made))
    present, span = as_declared_now(judged, estate), span_of(back, estate, now)
    summed, first = situation(present.judged, since), lead(present, now, back.nights, unjudged)
    due = due_next(present.judged, estate, now)
    rests = clock.moment(present.judged.started)
    then = f"What it found then: {summed.sentence}" if first.old else summed.sentence
    title, *caveats = (*first.caveats, then) if first.old else (then, *first.caveats)
    letter = Letter(
        title=visible(title),
        opening=f"{summed.basis} This rests on the audit of {rests.text}, {rests.ago}.",
        masthead=(visible(present.judged.estate), made),
        notes=tuple(visible(caveat) for caveat in caveats),
        sections=(
            worries_section(worries_view(summed, clock), old=first.old),
            week_section(week_view(present.judged, back, span, week_from, clock)),
            due_section(due),
            _fallback(present, estate, now),
            year_section(back, estate, span),
        ),
        closing=(_ATTACHED, _UNSEEN),
    )
    return WeeklyMail(subject=week_subject(present.judged, first, summed.worries, due), letter=letter)


def _no_audit(estate: Estate, made: str) -> Letter:
    datasets = "1 dataset is" if len(estate.datasets) == 1 else f"{len(estate.datasets)} datasets are"
    return Letter(
        title="No audit of the whole estate can be told of: nothing is proven.",
        opening="There was none yet, or what was kept of the last cannot be read back: coverage-audit summary says "
        "which, and why. Run coverage-audit audit, and coverage-audit status for when the next is due.",
        masthead=(visible(estate.name), made),
        closing=(f"{datasets} declared. {_UNSEEN}",),
    )


def _fallback(present: Present, estate: Estate, now: datetime) -> Section:
    """Say how far back one would fall on each copy, with the chart."""
    title = "How far back you would fall"
    every = [row_of(dataset, estate, now) for dataset in worst_first(present.judged.datasets)]
    if not every:
        return Section(title=title, notes=("No dataset was judged.",), brief=False)
    rows, rest = every[:_ROWS], every[_ROWS:]
    alt = " ".join(("The fallback chart: how far back each copy is proven to bring its dataset.", *said_of_rows(rows)))
    numbers = [f"{number}." for number in range(1, len(rows) + 1)]
    entries = [
        Entry(
            head=visible(f"{number} {row.dataset.id}"),
            sign=row.dataset.conclusion,
            remarks=tuple(visible(line) for line in copies_said(row)),
        )
        for number, row in zip(numbers, rows, strict=True)
    ]
    return Section(
        title=title,
        notes=(
            "If the original were gone now: the moment to which each copy is proven to bring it back.",
            *_rest(rest),
        ),
        picture=fallback_picture(rows, numbers, visible(alt)),
        entries=tuple(entries),
        brief=False,
    )


def _rest(rows: Sequence[ChartRow]) -> tuple[str, ...]:
    if not rows:
        return ()
    fine = sum(row.dataset.conclusion is Conclusion.CONFORMING for row in rows)
    more = "1 more dataset is" if len(rows) == 1 else f"{len(rows)} more datasets are"
    return (f"{more} on the page, of which {fine} conform.",)
