"""What a page says before its conclusion: whether the audit that it rests on is the last one that was due."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.estate.changes import ChangeKind, EstateChange, in_one_line
from coverage_audit.estate.declared import Part
from coverage_audit.estate.model import DatasetId
from coverage_audit.estate.units import format_duration
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.judgement.wording import joined, shortened
from coverage_audit.ledger.past_record import NightOutcome, NightRecord
from coverage_audit.reports.present import Present

FRESH: Final = timedelta(hours=26)
"""An audit that ended longer ago is an old one: a night passed since, and two hours more."""
AHEAD: Final = timedelta(minutes=5)
"""So far clocks may differ: an audit that ended later than this after `now` bears a wrong time."""
_NAMED: Final = 5
_IN_DAYS_FROM: Final = timedelta(days=2)


@dataclass(frozen=True, kw_only=True)
class Lead:
    """What stands first. `old`: the audit is not of the last night, or its age cannot be told.

    `conclusion` is the audit's, but never better than what is known now.
    """

    old: bool
    caveats: tuple[str, ...]
    conclusion: Conclusion


def lead(
    present: Present, now: datetime, nights: Sequence[NightRecord] = (), unjudged: Sequence[EstateChange] = ()
) -> Lead:
    """Say what is to be known before the conclusion is read; `nights` are those that were noted until `now`.

    `unjudged` is what was declared otherwise since the audit: of that it proves nothing.
    """
    age = _age(now - present.judged.finished) or _without_audit(present.judged.finished, nights)
    otherwise = [one for one in unjudged if not _is_new(one, present)]
    news = (*_changed(present), *_otherwise(otherwise))
    conclusion = present.judged.conclusion
    if (age or present.new or otherwise) and conclusion is Conclusion.CONFORMING:
        conclusion = Conclusion.UNVERIFIED
    return Lead(old=age is not None, caveats=(age, *news) if age else news, conclusion=conclusion)


def _age(age: timedelta) -> str | None:
    if age > FRESH:
        span = f"{age.days} days" if age >= _IN_DAYS_FROM else format_duration(age)
        return f"The last audit ended {span} ago; nothing since is proven."
    if age < -AHEAD:
        return f"The last audit bears a time {format_duration(-age)} ahead: how old it is cannot be told."
    return None


def _without_audit(audited: datetime, nights: Sequence[NightRecord]) -> str | None:
    """Say that a night began after the audit, and has none of its own."""
    night = nights[-1] if nights else None
    if night is None or night.outcome is NightOutcome.AUDITED or night.started <= audited:
        return None
    how = "has not ended" if night.outcome is None else "had no audit"
    why = f" ({visible(night.detail)})" if night.detail else ""
    return f"The night of {night.night} {how}{why}: this is of the audit before it."


def _changed(present: Present) -> Iterator[str]:
    if present.new:
        one = len(present.new) == 1
        yield (
            f"{_named(present.new)} {'was' if one else 'were'} declared since the last audit: "
            f"nothing of {'it' if one else 'them'} is proven."
        )
    if present.left:
        one = len(present.left) == 1
        yield f"{_named(present.left)} left the estate since the last audit and {'is' if one else 'are'} left out here."


def _is_new(change: EstateChange, present: Present) -> bool:
    """Whether it is told of a dataset that is new, with all of its copies."""
    return change.part in {Part.DATASET, Part.COPY} and change.name.partition("@")[0] in present.new


def _otherwise(changes: Sequence[EstateChange]) -> Iterator[str]:
    damaged = [one for one in changes if one.kind is ChangeKind.DAMAGED]
    changes = [one for one in changes if one.kind is not ChangeKind.DAMAGED]
    if damaged:
        yield f"A drill found damage after the last audit: {in_one_line(damaged, _NAMED)}."
    if changes:
        yield f"Of what was declared since the last audit nothing is proven yet: {in_one_line(changes, _NAMED)}."


def _named(names: Sequence[DatasetId]) -> str:
    return joined(shortened(names, _NAMED))
