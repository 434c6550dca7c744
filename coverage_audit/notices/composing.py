"""One message out of what changed: what fails now, what recovered, and nothing where neither is news."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import NoticeKind
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate
from coverage_audit.ledger.record import OPEN, Transition, TransitionKind
from coverage_audit.notices.message import Entry, Letter, Message, Section
from coverage_audit.notices.subject import subject
from coverage_audit.notices.writing import as_html, as_short, as_text

EVERYTHING = frozenset({NoticeKind.FAILING, NoticeKind.RECOVERED})


def compose(
    judged: JudgedEstate,
    transitions: Sequence[Transition],
    *,
    page: str | None,
    wants: frozenset[NoticeKind] = EVERYTHING,
) -> Message | None:
    """Return what to tell an address that wants `wants`, or None where there is nothing to tell it.

    `transitions` are all that it has not been told yet, in order; of several of one finding the last counts.
    An open finding is shown with its figures of this audit. Only what is observed again counts as recovered: a
    finding that was waived, or whose subject left the estate, is named as such.
    """
    last = {change.finding.id: change for change in transitions}
    failing = [change for change in last.values() if change.answer in OPEN and change.kind is not TransitionKind.EASED]
    failing = sorted(failing, key=lambda change: (change.answer is not Answer.NONCONFORMITY, change.finding.id))
    recovered = [change for change in last.values() if change.recovered]
    failing = failing if NoticeKind.FAILING in wants else []
    recovered = recovered if NoticeKind.RECOVERED in wants else []
    if not failing and not recovered:
        return None
    others = [change for change in last.values() if change.answer not in OPEN and not change.recovered]
    eased = [change for change in last.values() if change.kind is TransitionKind.EASED]
    now = _current(judged)
    title = subject(judged, failing, recovered, still_open=len(_open(now)))
    letter = Letter(
        title=title,
        opening=_opening(judged),
        sections=tuple(_sections(judged, now, failing=failing, eased=eased, recovered=recovered, others=others)),
        closing=_closing(judged, now, {change.finding.id for change in failing}),
    )
    return Message(subject=title, text=as_text(letter), html=as_html(letter), short=as_short(letter), page=page)


def _current(judged: JudgedEstate) -> dict[str, Finding]:
    listed = [*judged.findings, *(finding for dataset in judged.datasets for finding in dataset.findings)]
    return {finding.id: finding for finding in listed}


def _open(now: Mapping[str, Finding]) -> list[str]:
    return [name for name, finding in now.items() if finding.answer in OPEN]


def _opening(judged: JudgedEstate) -> str:
    at = judged.started.astimezone(ZoneInfo(judged.time_zone))
    scope = "all datasets" if judged.whole else ", ".join(visible(dataset.id) for dataset in judged.datasets)
    rehearsal = " This is a rehearsal." if judged.rehearsal else ""
    return (
        f"Audit of {visible(judged.estate)}, {at:%Y-%m-%d %H:%M} ({judged.time_zone}), {scope}: "
        f"{judged.conclusion.value}.{rehearsal}"
    )


def _sections(
    judged: JudgedEstate,
    now: Mapping[str, Finding],
    *,
    failing: Sequence[Transition],
    eased: Sequence[Transition],
    recovered: Sequence[Transition],
    others: Sequence[Transition],
) -> Iterable[Section]:
    not_covered = [change for change in failing if change.answer is Answer.NONCONFORMITY]
    unverified = [change for change in failing if change.answer is Answer.UNVERIFIED]
    for title, sign, changes in (
        ("Not covered", "fails", not_covered),
        ("Unverified: the evidence is missing", "unverified", unverified),
        ("Unverified now, was not covered before", "unverified", eased),
    ):
        if changes:
            entries = tuple(_failing(change, now.get(change.finding.id, change.finding), judged) for change in changes)
            yield Section(title=title, sign=sign, entries=entries)
    for title, sign, changes in (
        ("Recovered", "recovered", recovered),
        ("Waived, or no longer asked for (nothing was observed to recover)", "closed", others),
    ):
        if changes:
            yield Section(title=title, sign=sign, entries=tuple(_ended(change, judged) for change in changes))


def _failing(change: Transition, finding: Finding, judged: JudgedEstate) -> Entry:
    measured = f"measured {finding.measured}; required {finding.required}; since {_when(change, judged)}"
    lines = (finding.message, measured, f"To mend it: {finding.mend}", f"coverage-audit explain {finding.id}")
    return Entry(head=_head(change), lines=tuple(visible(line) for line in lines if line))


def _ended(change: Transition, judged: JudgedEstate) -> Entry:
    since = f"it was open since {_when(change, judged)}"
    lines = (change.finding.message, since) if change.recovered else (since,)
    return Entry(head=_head(change), lines=tuple(visible(line) for line in lines if line))


def _head(change: Transition) -> str:
    finding = change.finding
    apart = change.dataset is not None and change.dataset != finding.subject
    return visible(
        f"{change.dataset}: {finding.subject} ({finding.rule})" if apart else f"{finding.subject} ({finding.rule})"
    )


def _when(change: Transition, judged: JudgedEstate) -> str:
    return f"{change.since.astimezone(ZoneInfo(judged.time_zone)):%Y-%m-%d %H:%M}"


def _closing(judged: JudgedEstate, now: Mapping[str, Finding], told: set[str]) -> tuple[str, ...]:
    besides = [name for name in _open(now) if name not in told]
    if besides:
        return (f"Open besides, told before: {len(besides)} (coverage-audit audit shows all).",)
    if judged.conclusion is Conclusion.CONFORMING and judged.whole:
        return ("Nothing else is open.",)
    return ()


def compose_trial(estate: str, target: str) -> Message:
    """Return the message by which `preflight` tries an address."""
    title = f"{visible(estate)}: trial notice to '{visible(target)}'"
    opening = "Notices for this address arrive. Nothing is wrong and nothing is to be done."
    letter = Letter(title=title, opening=opening, sections=(), closing=())
    return Message(subject=title, text=as_text(letter), html=as_html(letter), short=opening)
