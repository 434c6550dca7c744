"""The letter that a night's message is: its sections, and a few lines on each finding."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate
from coverage_audit.ledger.record import OPEN, Transition, TransitionKind
from coverage_audit.notices.at_stake import NewsItem, Stakes
from coverage_audit.notices.message import Entry, Letter, Section
from coverage_audit.notices.news import Missed, News

MOST: Final = 100
"""So many findings a section lists, the most at stake first; the page that goes along has all."""


class _Group(NamedTuple):
    title: str
    sign: str
    listed: Sequence[NewsItem]


def letter_of(judged: JudgedEstate, news: News, title: str) -> Letter:
    """Return the letter; within each section, and of sections alike, the most at stake comes first."""
    now = _current(judged)
    told = {one.finding.id for one in news.failing} | {one.finding.id for one in news.reminded}
    return Letter(
        title=title,
        opening=_opening(judged),
        notes=() if news.missed is None else (_missed(news.missed),),
        sections=tuple(_sections(judged, now, news)),
        closing=_closing(judged, now, told),
    )


def _current(judged: JudgedEstate) -> dict[str, Finding]:
    listed = [*judged.findings, *(finding for dataset in judged.datasets for finding in dataset.findings)]
    return {finding.id: finding for finding in listed}


def _opening(judged: JudgedEstate) -> str:
    at = judged.started.astimezone(ZoneInfo(judged.time_zone))
    scope = "all datasets" if judged.whole else ", ".join(visible(dataset.id) for dataset in judged.datasets)
    rehearsal = " This is a rehearsal." if judged.rehearsal else ""
    waived = f", with {judged.waived} {'waiver' if judged.waived == 1 else 'waivers'}" if judged.waived else ""
    return (
        f"Audit of {visible(judged.estate)}, {at:%Y-%m-%d %H:%M} ({judged.time_zone}), {scope}: "
        f"{judged.conclusion.value}{waived}.{rehearsal}"
    )


def _missed(missed: Missed) -> str:
    it = "that night was" if missed.nights == 1 else "those nights were"
    return f"{missed.said}: this machine slept or was off, or nothing ran. What {it} to see, this audit has seen."


def _sections(judged: JudgedEstate, now: Mapping[str, Finding], news: News) -> Iterable[Section]:
    stakes = Stakes(judged)

    groups = [
        *_parted(news.failing, "Not covered", "Unverified: the evidence is missing"),
        _Group("Unverified now, was not covered before", "unverified", list(news.eased)),
        *_parted(news.reminded, "Reminder: still not covered", "Reminder: still unverified, the evidence is missing"),
    ]
    for group in groups:
        if group.listed:
            listed, left_out = group.listed[:MOST], len(group.listed[MOST:])
            entries = tuple(_failing(one, now.get(one.finding.id, one.finding), judged, stakes) for one in listed)
            yield Section(title=group.title, sign=group.sign, entries=entries, left_out=left_out)
    for title, sign, changes in (
        ("Recovered", "recovered", news.recovered),
        ("Waived: accepted for a while, nothing was observed to recover", "waived", news.waived),
        ("No longer asked for: nothing was observed to recover", "closed", news.gone),
    ):
        if changes:
            entries = tuple(_ended(change, judged) for change in changes[:MOST])
            yield Section(title=title, sign=sign, entries=entries, left_out=len(changes[MOST:]))


def _parted(news: Sequence[NewsItem], not_covered: str, unverified: str) -> list[_Group]:
    """Part by answer; the part whose first has the most at stake (they are in this order) comes first."""
    parts: dict[bool, list[NewsItem]] = {}
    for one in news:
        parts.setdefault(one.answer is Answer.NONCONFORMITY, []).append(one)
    return [
        _Group(not_covered, "fails", listed) if worst else _Group(unverified, "unverified", listed)
        for worst, listed in parts.items()
    ]


def _failing(one: NewsItem, finding: Finding, judged: JudgedEstate, stakes: Stakes) -> Entry:
    worsened = isinstance(one, Transition) and one.kind is TransitionKind.WORSENED
    lines = (
        finding.message,
        "It got worse: it was unverified before" if worsened else "",
        stakes.said_of(one),
        f"To mend it: {finding.mend}",
    )
    remarks = (
        f"measured {finding.measured}; required {finding.required}; since {_when(one, judged)}",
        f"coverage-audit explain {finding.id}",
    )
    return Entry(head=_head(one), lines=_shown(lines), remarks=_shown(remarks))


def _ended(change: Transition, judged: JudgedEstate) -> Entry:
    since = f"it was open since {_when(change, judged)}"
    lines = () if change.answer is None else (change.finding.message,)
    return Entry(head=_head(change), lines=_shown(lines), remarks=(since,))


def _shown(lines: Iterable[str]) -> tuple[str, ...]:
    return tuple(visible(line) for line in lines if line)


def _head(one: NewsItem) -> str:
    finding = one.finding
    apart = one.dataset is not None and one.dataset != finding.subject
    return visible(
        f"{one.dataset}: {finding.subject} ({finding.rule})" if apart else f"{finding.subject} ({finding.rule})"
    )


def _when(one: NewsItem, judged: JudgedEstate) -> str:
    return f"{one.since.astimezone(ZoneInfo(judged.time_zone)):%Y-%m-%d %H:%M}"


def _closing(judged: JudgedEstate, now: Mapping[str, Finding], told: set[str]) -> tuple[str, ...]:
    besides = [name for name, finding in now.items() if finding.answer in OPEN and name not in told]
    if besides:
        return (f"Open besides, told before: {len(besides)} (coverage-audit audit shows all).",)
    if judged.conclusion is Conclusion.CONFORMING and judged.whole:
        return ("Nothing else is open.",)
    return ()
