"""The sections of the weekly mail: what the page says on its first screens, in the same words and fewer of them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import so_many
from coverage_audit.notices.message import Entry, Section
from coverage_audit.reports.nights_view import MissingNights
from coverage_audit.reports.page_words import Moment
from coverage_audit.reports.running_out import Due
from coverage_audit.reports.week import IncidentView, WeekView
from coverage_audit.reports.worries import WorryView

_WORRIES: Final = 8
_CHANGES: Final = 5
_DUE: Final = 6
_ESTATE: Final = "the estate itself"


def worries_section(worries: Sequence[WorryView], *, old: bool) -> Section:
    """Say what is not as it must be, the worst first."""
    title = "What is not as it must be"
    if not worries:
        then = ", when the audit ended" if old else ""
        return Section(title=title, notes=(f"Nothing{then}: every criterion holds, on proven copies.",))
    entries = tuple(_worry(view) for view in worries[:_WORRIES])
    return Section(title=title, entries=entries, left_out=len(worries[_WORRIES:]))


def _worry(view: WorryView) -> Entry:
    worry = view.worry
    others = f"and {so_many(len(worry.others), 'more finding')} of the same weight" if worry.others else ""
    return _entry(
        _ESTATE if worry.dataset is None else str(worry.dataset),
        sign=worry.conclusion,
        lines=(
            worry.finding.message,
            f"At stake: {worry.stake.replace(': ', ', ', 1)}" if worry.stake else "",
            f"Do first: {worry.finding.mend}" if worry.finding.mend else "",
        ),
        remarks=(f"since {_at(view.since)}" if view.since else "since this audit", others),
    )


def week_section(week: WeekView) -> Section:
    """Say what changed since last week."""
    title = "What changed since last week"
    entries = list(_changes(week))
    if not entries:
        nothing = f"Nothing since {_at(week.begins)}: no finding began or ended, and the estate is declared as it was."
        return Section(title=title, notes=(nothing, *_nights(week)), brief=False)
    return Section(title=title, entries=tuple(entries), notes=tuple(_nights(week)), brief=False)


def _changes(week: WeekView) -> Iterator[Entry]:
    yield from _some([_incident(one, "began") for one in week.begun])
    yield from _some([_incident(one, one.over or "ended") for one in week.ended])
    yield from _some([_entry(_at(event.at), sign="estate", lines=(event.text,)) for event in week.events])
    yield from _some(
        [
            _entry(
                one.finding.id,
                sign="waived",
                lines=(one.finding.message,),
                remarks=(f"by {one.who} until {one.until}: “{one.why}”",),
            )
            for one in week.waivers
        ]
    )
    yield from _some([_missing(one) for one in week.missing])


def _incident(one: IncidentView, sign: str) -> Entry:
    lasted = f"after {one.lasted}, " if one.lasted else "since "
    named = _ESTATE if one.dataset is None else str(one.dataset)
    remarks = (f"{lasted}{_at(one.ended or one.began)}",)
    return _entry(named, sign=sign, lines=(one.finding.message,), remarks=remarks)


def _missing(one: MissingNights) -> Entry:
    nights = str(one.first) if one.first == one.last else f"{one.first} to {one.last} ({one.count} nights)"
    return _entry(nights, sign="no audit", lines=(one.why,))


def _nights(week: WeekView) -> Iterator[str]:
    if week.nights and not week.missing:
        yield "The night had its audit." if week.nights == 1 else f"All {week.nights} nights had their audit."


def due_section(due: Sequence[Due]) -> Section:
    """Say what will run out next."""
    title = "What will run out next"
    if not due:
        return Section(title=title, notes=("Nothing is due by a date that is known.",), brief=False)
    entries = [
        _entry(f"{one.day}: {one.what}", sign="overdue" if one.over else "", lines=(one.why,), remarks=(one.within,))
        for one in due[:_DUE]
    ]
    return Section(title=title, entries=tuple(entries), left_out=len(due[_DUE:]), brief=False)


def _some(entries: Sequence[Entry]) -> Iterable[Entry]:
    return (*entries[:_CHANGES], *_more(len(entries) - _CHANGES, entries[-1].sign if entries else ""))


def _more(number: int, sign: str | None = "") -> Iterator[Entry]:
    if number > 0:
        yield Entry(head=f"and {number} more, on the page", sign=sign)


def _entry(head: str, *, sign: str, lines: Iterable[str] = (), remarks: Iterable[str] = ()) -> Entry:
    return Entry(head=visible(head), sign=sign, lines=_shown(lines), remarks=_shown(remarks))


def _shown(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(visible(line).replace("`", "") for line in lines if line)


def _at(moment: Moment) -> str:
    return f"{moment.text}, {moment.ago}"
