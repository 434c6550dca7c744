"""Steady rhythm: recovery points keep coming, as often as declared or as they used to.

What it asks: `rhythm` of the policy, of each dated copy: that the next point is not late, and that no beat of the last
fourteen (of a week at least) came to nothing. Beats of whole days are counted by local clocks; none is expected on
quiet weekdays. A learned rhythm is the median of the last intervals, eight at least. Beats before the copy was first
listed are not judged, nor those whose point would have been deleted before an audit could list it.

Why: a job that stops leaves everything as it was, and each day that passes looks like the one before. A job that fails
some nights, and makes up for it by several points at once, leaves nights to which nobody can return.

How to mend: find out why the job did not run then (its timer, its box, its disk), or declare the rhythm that is meant.

The control: NIST SP 800-53 Rev. 5 CP-9 a-c (backups at a set frequency).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from coverage_audit.estate.criteria import Rhythm
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.dated import Dated, dated_copies
from coverage_audit.judgement.observing import of_copy
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import dataset_subject, place_subject
from coverage_audit.judgement.verdict import Answer, Finding
from coverage_audit.judgement.wording import age, duration, when
from coverage_audit.reckoning.beats import LEAST, Beats, beats, bunched, learned, missed
from coverage_audit.reckoning.leaving import seen_until

RULE = Rule(
    id="steady-rhythm",
    title="Steady rhythm of recovery points",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)

_BEATS: Final = 14
_AT_LEAST: Final = timedelta(days=7)
_NAMED: Final = 5
_EVER: Final = datetime.min.replace(tzinfo=UTC)
_MEND: Final = "Find out why the job did not run then, or declare the rhythm that is meant."


@dataclass(frozen=True, kw_only=True)
class _Heard:
    """A series held against its rhythm: since when it is `late`, the beats missed, and those of which none can tell."""

    late: datetime | None
    missed: tuple[datetime, ...]
    untold: int


def check(context: DatasetContext) -> Iterable[Finding]:
    """Hold the points of each dated copy against the rhythm asked for."""
    asked, copies = context.policy.rhythm, dated_copies(context)
    if asked is None:
        return
    if not copies:
        yield _finding(context, None, Answer.UNVERIFIED, "no recovery points", "no copy of it has recovery points")
    for one in copies:
        yield _of_copy(one, asked, context)


def _of_copy(one: Dated, asked: Rhythm, context: DatasetContext) -> Finding:
    if one.at is None:
        return _finding(context, one, Answer.UNVERIFIED, "not known", f"its rhythm is not known: {one.unknown}")
    series = [point.earliest for point in one.points]
    went = [at for at in one.seen_since(_EVER) if at not in {point.earliest for point in one.doubted}]
    if not series:
        return _finding(context, one, _none(one), "no point", "there is no recovery point that counts")
    rhythm = _rhythm(asked, went, context)
    if rhythm is None:
        known = f"{max(0, len(went) - 1)} of {LEAST} intervals"
        return _finding(context, one, Answer.UNVERIFIED, known, f"its rhythm is not learned yet: {known} are known")
    now = min(one.at, context.finished)
    since = max(one.past.since if one.past is not None else now, now - max(_BEATS * rhythm.every, _AT_LEAST))
    now -= one.open_to
    sure, all_seen = _heard(went, one, rhythm, since, now), _heard(one.seen_since(_EVER), one, rhythm, since, now)
    close = bunched(went, rhythm, since)
    newest = f"newest {when(series[-1], context.zone)}, {age(series[-1], context.finished)}"
    said = [f"one {_often(asked, rhythm)}, {newest}", *_said(sure, close, rhythm, context)]
    answer = _answer(sure, all_seen, close)
    return _finding(context, one, answer, said[0], "; ".join(said), degree=float(len(sure.missed)))


def _none(one: Dated) -> Answer:
    return Answer.UNVERIFIED if one.doubted else Answer.NONCONFORMITY


def _rhythm(asked: Rhythm, series: Sequence[datetime], context: DatasetContext) -> Beats | None:
    if asked.every is None and not asked.monthly:
        found = learned(series, context.zone, asked.tolerance)
        if found is None or not asked.quiet:
            return found
        return beats(found.every, context.zone, monthly=False, quiet=asked.quiet, tolerance=asked.tolerance)
    every = asked.every or timedelta(0)
    return beats(every, context.zone, monthly=asked.monthly, quiet=asked.quiet, tolerance=asked.tolerance)


def _heard(series: Sequence[datetime], one: Dated, rhythm: Beats, since: datetime, now: datetime) -> _Heard:
    due = rhythm.next_after(series[-1])
    late = due if due + rhythm.tolerance < now else None
    told, untold = [], 0
    for beat in missed(series, rhythm, since=since, now=now):
        if _would_be_seen(beat, one, rhythm):
            told.append(beat)
        else:
            untold += 1
    return _Heard(late=late, missed=tuple(told), untold=untold)


def _would_be_seen(beat: datetime, one: Dated, rhythm: Beats) -> bool:
    """Whether a point of that beat would still have been there when the copy was listed next."""
    lasts = seen_until(one.left)
    if lasts is None or one.past is None:
        return True
    then = next((at for at in one.past.listed if at >= beat + rhythm.tolerance), None)
    return then is None or then - beat <= lasts


def _answer(sure: _Heard, all_seen: _Heard, close: int) -> Answer:
    if all_seen.late or all_seen.missed:
        return Answer.NONCONFORMITY
    if sure.late or sure.missed:
        return Answer.UNVERIFIED
    return Answer.OBSERVATION if close or sure.untold else Answer.CONFORMITY


def _said(found: _Heard, close: int, rhythm: Beats, context: DatasetContext) -> Iterable[str]:
    if found.late is not None:
        yield f"the next was due {when(found.late, context.zone)} and is late"
    if found.missed:
        named = ", ".join(when(beat, context.zone) for beat in found.missed[-_NAMED:])
        more = f"{len(found.missed) - _NAMED} earlier ones and " if len(found.missed) > _NAMED else ""
        yield f"no point came of {len(found.missed)} that were due: {more}{named}"
    if close:
        bunch = "bunched up while others are missing" if found.missed else "more than are asked for"
        yield f"{close} came within {duration(rhythm.every / 2)} of the one before ({bunch})"
    if found.untold:
        yield f"whether {found.untold} came cannot be told: points do not last there until the next audit"


def _often(asked: Rhythm, rhythm: Beats) -> str:
    how = "" if asked.every is not None or asked.monthly else " (learned)"
    return f"each month{how}" if rhythm.monthly else f"every {duration(rhythm.every)}{how}"


def _finding(
    context: DatasetContext, one: Dated | None, answer: Answer, measured: str, said: str, degree: float | None = None
) -> Finding:
    name = context.dataset.id
    return Finding(
        rule=RULE.id,
        subject=dataset_subject(name) if one is None else place_subject(name, one.copy.address),
        answer=answer,
        measured=measured,
        required=str(context.policy.rhythm),
        message=f"{name if one is None else one.copy.address}: {said}.",
        mend="" if answer is Answer.CONFORMITY else _MEND,
        evidence=() if one is None else of_copy(one.copy),
        control=RULE.control,
        degree=degree,
    )
