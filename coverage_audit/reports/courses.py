"""What became of each dataset in a look back: when it was born and ended, what its days proved, how it grew."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coverage_audit.audits.looking_back import LookedBack
from coverage_audit.estate.changes import ChangeKind
from coverage_audit.estate.declared import Part
from coverage_audit.estate.former import Lineage, lineage_of
from coverage_audit.estate.model import DatasetId
from coverage_audit.ledger.past_record import DatasetDay
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.days import DAY, DayState, Span, states_of_dataset
from coverage_audit.reports.trends import Counts, counted

Life = tuple[date, date]
"""The first and the last day on which a dataset was declared."""


@dataclass(frozen=True, kw_only=True)
class DatasetCourse:
    """One dataset; `names` are all its names, the present one first. `born` and `ended`: where that was in the span.

    `states` has a value for each day of the span (`BEFORE`: it was not declared then, or there was no ledger yet).
    `first` and `last` are the first and the last day that saw the whole original (None: none did).
    """

    dataset: DatasetId
    names: tuple[DatasetId, ...]
    born: date | None
    ended: date | None
    states: tuple[DayState, ...]
    first: DatasetDay | None
    last: DatasetDay | None

    @property
    def counts(self) -> Counts:
        """How many days proved what."""
        return counted(self.states)


def dataset_courses(looked: LookedBack, span: Span) -> tuple[DatasetCourse, ...]:
    """Return every dataset that was declared at any time of the span: present ones in their order, then the ended."""
    lineage = lineage_of(looked.now)
    names = {former: several[0] for several in lineage.datasets for former in several}
    days: dict[DatasetId, list[DatasetDay]] = {}
    for day in looked.back.datasets:
        days.setdefault(names.get(day.dataset, day.dataset), []).append(day)
    then = [] if looked.then is None else [names.get(one.id, one.id) for one in looked.then.datasets]
    told = _told(looked.back.events, names)
    every = dict.fromkeys((*(one.id for one in looked.now.datasets), *then, *told, *days))
    present = {one.id for one in looked.now.datasets}
    courses = []
    for name in every:
        at_first = name in then if looked.then is not None else name not in told
        lives = _lives(told.get(name, ()), days.get(name, ()), span, (at_first, name in present))
        courses.append(_course(name, lineage, lives, days.get(name, ()), span))
    return tuple(courses)


def _told(events: Iterable[EstateEvent], names: Mapping[DatasetId, DatasetId]) -> Mapping[DatasetId, list[EstateEvent]]:
    """Return what was noted of datasets that came or went, by present names, in the order of time."""
    found: dict[DatasetId, list[EstateEvent]] = {}
    for event in events:
        change = event.change
        if change.part == Part.DATASET and change.kind in {ChangeKind.CAME, ChangeKind.WENT}:
            name = DatasetId(change.name)
            found.setdefault(names.get(name, name), []).append(event)
    return found


def _lives(
    told: Sequence[EstateEvent], days: Sequence[DatasetDay], span: Span, declared: tuple[bool, bool]
) -> tuple[Life, ...]:
    """Return the spans of days in which a dataset was declared; `declared`: whether it was at first, and is now."""
    at_first, now = declared
    begin = span.first if at_first else None
    lives: list[Life] = []
    for event in told:
        day = span.of(event.at)
        if event.change.kind is ChangeKind.CAME:
            begin = begin or day
        elif begin is not None:
            lives.append((begin, max(day - DAY, begin)))
            begin = None
    if begin is None and days and not lives:
        begin = span.of(days[0].at)  # what was noted of it is lost, or was noted before the span
    if begin is not None:
        lives.append((begin, span.last if now or not days else span.of(days[-1].at)))
    return tuple(lives)


def _course(
    name: DatasetId, lineage: Lineage, lives: Sequence[Life], days: Sequence[DatasetDay], span: Span
) -> DatasetCourse:
    seen = [day for day in days if day.files is not None and day.bytes is not None]
    return DatasetCourse(
        dataset=name,
        names=lineage.of_dataset(name),
        born=lives[0][0] if lives and lives[0][0] > span.first else None,
        ended=lives[-1][1] if lives and lives[-1][1] < span.last else None,
        states=_states(days, lives, span),
        first=seen[0] if seen else None,
        last=seen[-1] if seen else None,
    )


def _states(days: Sequence[DatasetDay], lives: Sequence[Life], span: Span) -> tuple[DayState, ...]:
    """Return what each day proved; on one on which it was declared and not audited, nothing."""
    states = zip(span.all(), states_of_dataset(days, span), strict=True)
    return tuple(_state(state, declared=any(first <= day <= last for first, last in lives)) for day, state in states)


def _state(state: DayState, *, declared: bool) -> DayState:
    if state not in {DayState.BEFORE, DayState.NO_AUDIT}:
        return state
    return DayState.NO_AUDIT if declared else DayState.BEFORE
