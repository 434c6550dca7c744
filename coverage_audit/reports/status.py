"""How the auditor stands, in words: `coverage-audit status`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from coverage_audit.audits.status import GRACE, WAITS_TOO_LONG, Evidence, Standing, Status
from coverage_audit.estate.changes import said
from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.judgement.wording import age, so_many, when
from coverage_audit.ledger.past_record import NightOutcome
from coverage_audit.reports.waivers import waiver_text

_FINDINGS_SHOWN: Final = 20
_CHANGES_SHOWN: Final = 5


def status_text(status: Status) -> str:
    """Say how the auditor stands, the gravest first; ends with a newline."""
    parts = (_head(status), _failing(status), _notices(status), _datasets(status), _evidence(status), _waivers(status))
    blocks = ["\n".join(lines) for part in parts if (lines := list(part))]
    return "\n\n".join(blocks) + "\n"


def standing_said(status: Status) -> str:
    """Say in one sentence how the auditor stands."""
    match status.standing:
        case Standing.OVERDUE:
            return f"overdue: {_overdue(status)}"
        case Standing.UNDELIVERED:
            count = len(status.waiting_too_long)
            notices = "1 notice was" if count == 1 else f"{count} notices were"
            return f"{notices} not delivered for more than {format_duration(WAITS_TOO_LONG)}"
        case Standing.NONCONFORMING:
            return "the last audit found what does not conform"
        case Standing.UNVERIFIED:
            if status.last is not None and status.last.conclusion is not Conclusion.UNVERIFIED:
                return "something was not judged since it was declared"
            return "the last audit lacked evidence"
        case Standing.GOOD:
            but = f" with {so_many(status.waived, 'finding')} waived" if status.waived else ""
            return f"good: audited on time, conforming{but}, and no notice waits for too long"


def _overdue(status: Status) -> str:
    if status.last is None:
        return "no audit of all datasets has finished yet"
    expected = when(status.times.expected, status.zone)
    return f"no audit has finished since {expected}, and {format_duration(GRACE)} of grace are over"


def _head(status: Status) -> Iterator[str]:
    zone, last = status.zone, status.last
    yield f"{visible(status.estate)}: {standing_said(status)}"
    if last is not None:
        concluded = f"{last.conclusion}{' (a rehearsal)' if last.rehearsal else ''}"
        yield f"Last audit:   {when(last.finished, zone)} ({age(last.finished, status.at)}), {concluded}"
        if status.conclusion not in {None, last.conclusion}:
            yield f"  {_since_then(status.conclusion)}"
    for change in status.unjudged[:_CHANGES_SHOWN]:
        yield f"  Not judged yet: {visible(said(change))}"
    if len(status.unjudged) > _CHANGES_SHOWN:
        yield f"  and {len(status.unjudged) - _CHANGES_SHOWN} more changes of the estate"
    if status.waived:
        yield f"Waived:       {so_many(status.waived, 'finding')} (`coverage-audit waive --list`)"
    yield from _night(status)
    following = "no time is declared (`schedule:`)" if status.times.audit is None else when(status.times.audit, zone)
    yield f"Next audit:   {following}"
    if status.times.summary is not None:
        yield f"Next summary: {when(status.times.summary, zone)}"
    yield f"Daemon:       {'none runs on this state folder' if status.daemon is None else visible(status.daemon)}"


def _since_then(now: Conclusion | None) -> str:
    return f"What was judged since, or was declared since and never judged, makes it {now}."


def _night(status: Status) -> Iterator[str]:
    """Tell of the last night where there is more to it than its audit, and of nights that were missed."""
    night = status.night
    if night is not None and night.outcome is None:
        yield f"Last night:   {night.night}, begun {when(night.started, status.zone)} and not ended{_why(night.detail)}"
    elif night is not None and night.outcome is not NightOutcome.AUDITED:
        yield f"Last night:   {night.night}, {night.outcome}{_why(night.detail)}"
    if night is not None and night.missed:
        before = "The night" if night.missed == 1 else f"The {night.missed} nights"
        yield f"  {before} before it had no audit, since {night.missed_since}"


def _why(detail: str) -> str:
    return f": {visible(detail)}" if detail else ""


def _failing(status: Status) -> Iterator[str]:
    if not status.failing:
        return
    yield "What failed:"
    for one in status.failing[:_FINDINGS_SHOWN]:
        since = age(one.since, status.at)
        yield f"  [{visible(one.finding.id)}] {one.finding.answer}, since {since}: {visible(one.finding.message)}"
    more = len(status.failing) - _FINDINGS_SHOWN
    if more > 0:
        yield f"  and {more} more (`coverage-audit audit` lists them all)"


def _notices(status: Status) -> Iterator[str]:
    if status.undelivered or status.astray:
        yield "Notices that were not delivered:"
    for queued in status.undelivered:
        tried = f"tried {queued.tries} times" if queued.tries != 1 else "tried once"
        why = f", last: {visible(queued.last_error)}" if queued.last_error else ""
        since = age(queued.created, status.at)
        yield f"  to '{visible(queued.target)}' since {since}, {tried}{why}: {visible(queued.message.subject)}"
    for target in sorted({queued.target for queued in status.astray}):
        yield f"  to '{visible(target)}', which is declared no more: they stay where they are"


def _datasets(status: Status) -> Iterator[str]:
    yield "Datasets:"
    width = max((len(dataset.id) for dataset in status.datasets), default=0)
    for dataset in status.datasets:
        day = dataset.last
        if day is None:
            how = "never judged"
        else:
            held = "" if day.exposed_bytes is None else f", {format_size(day.exposed_bytes)} exposed"
            anew = ", not by the last audit" if dataset.passed_over else ""
            how = f"{day.conclusion}{held}, judged {age(day.at, status.at)}{anew}"
        yield f"  {dataset.id:<{width}}  {how}"


def _evidence(status: Status) -> Iterator[str]:
    yield "Last seen:"
    width = max((len(one.kind) + 1 + len(_name(one)) for one in status.evidence), default=0)
    for one in status.evidence:
        seen = "never" if one.at is None else f"{age(one.at, status.at)} ({when(one.at, status.zone)})"
        yield f"  {f'{one.kind} {_name(one)}':<{width}}  {seen}"


def _name(one: Evidence) -> str:
    return visible(one.name)


def _waivers(status: Status) -> Iterator[str]:
    if status.waivers:
        yield "Waivers that end soon:"
    for waiver in status.waivers:
        yield f"  {visible(waiver.name)}: {waiver_text(waiver, status.zone)}"
