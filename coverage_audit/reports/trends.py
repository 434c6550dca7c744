"""How a dataset did over the days of a look back: what each day proved, what no copy held, how large it was."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.judgement.wording import amount, files
from coverage_audit.ledger.past_record import DatasetDay
from coverage_audit.reports.days import DayState, Span, states_of_dataset
from coverage_audit.reports.pictures import Line, Strip, by_month, line, strip


@dataclass(frozen=True, kw_only=True)
class Counts:
    """How many days proved what. Those before the first audit that is known are in none of them."""

    conforming: int
    nonconforming: int
    unverified: int
    no_audit: int

    @property
    def without_proof(self) -> int:
        """Days of which it is not known whether all was well."""
        return self.unverified + self.no_audit

    @property
    def known(self) -> int:
        """Days since the first audit that is known."""
        return self.conforming + self.nonconforming + self.without_proof


@dataclass(frozen=True, kw_only=True)
class MonthView:
    """One month as a row of a table: its days, the most that no copy held, the size at its end."""

    name: str
    counts: Counts
    exposed: str
    holds: str


@dataclass(frozen=True, kw_only=True)
class TrendView:
    """One dataset over the span. `since` None: no audit of it is known."""

    counts: Counts
    since: date | None
    strip: Strip
    exposed: Line
    exposed_said: str
    holds: Line
    holds_said: str
    months: tuple[MonthView, ...]


@dataclass(frozen=True, kw_only=True)
class _Day:
    """What is known of one day; sizes in bytes, None: not known."""

    exposed_files: int | None = None
    exposed: int | None = None
    files: int | None = None
    holds: int | None = None


def counted(states: Sequence[DayState]) -> Counts:
    """Count days by what they proved."""
    found = Counter(states)
    return Counts(
        conforming=found[DayState.CONFORMING],
        nonconforming=found[DayState.NONCONFORMING],
        unverified=found[DayState.UNVERIFIED],
        no_audit=found[DayState.NO_AUDIT],
    )


def trend_view(days: Sequence[DatasetDay], span: Span) -> TrendView:
    """Prepare the trend of one dataset out of its days, which are in the order of time."""
    states, known = states_of_dataset(days, span), _figures(days, span)
    figures = [known.get(day, _Day()) for day in span.all()]
    begun = states.count(DayState.BEFORE)
    return TrendView(
        counts=counted(states),
        since=span.all()[begun] if begun < span.days else None,
        strip=strip(states),
        exposed=_drawn([figure.exposed for figure in figures], begun),
        exposed_said=_exposed(known),
        holds=_drawn([figure.holds for figure in figures], begun),
        holds_said=_grown(known),
        months=tuple(
            _month(name, [states[number] for number in numbers], [figures[number] for number in numbers])
            for name, numbers in by_month(span.all())
            if any(states[number] is not DayState.BEFORE for number in numbers)
        ),
    )


def _drawn(values: Sequence[int | None], begun: int) -> Line:
    """Draw figures; before the first audit there is nothing to draw, and nothing that should have been known."""
    return line([0] * begun + list(values[begun:]))


def _figures(days: Sequence[DatasetDay], span: Span) -> Mapping[date, _Day]:
    """Return each day's figures: of its last audit, but the most that was exposed, where any audit could tell it."""
    found: dict[date, _Day] = {}
    for day in days:
        before = found.get(span.of(day.at), _Day())
        most = max((before.exposed, before.exposed_files), (day.exposed_bytes, day.exposed_files), key=_known)
        found[span.of(day.at)] = _Day(
            exposed=most[0],
            exposed_files=most[1],
            files=before.files if day.files is None else day.files,
            holds=before.holds if day.bytes is None else day.bytes,
        )
    return found


def _known(pair: tuple[int | None, int | None]) -> tuple[int, int]:
    return (-1 if pair[0] is None else pair[0], -1 if pair[1] is None else pair[1])


def _month(name: str, states: Sequence[DayState], figures: Sequence[_Day]) -> MonthView:
    holds = [figure.holds for figure in figures if figure.holds is not None]
    most = max(figures, key=lambda figure: _known((figure.exposed, figure.exposed_files)))
    return MonthView(
        name=name,
        counts=counted(states),
        exposed=_held_by_none(most),
        holds=format_size(holds[-1]) if holds else "not seen",
    )


def _held_by_none(day: _Day) -> str:
    if day.exposed is None or day.exposed_files is None:
        return "not known"
    return amount(Tally(files=day.exposed_files, bytes=day.exposed)) if day.exposed_files else "nothing"


def _exposed(known: Mapping[date, _Day]) -> str:
    """Say the most that no copy held, and when."""
    told = [(day, figure) for day, figure in known.items() if figure.exposed is not None]
    if not told:
        return "not known on any day"
    day, most = max(told, key=lambda each: _known((each[1].exposed, each[1].exposed_files)))
    if not most.exposed_files:
        return "nothing on any day that could tell it"
    return f"at most {_held_by_none(most)}, on {day}"


def _grown(known: Mapping[date, _Day]) -> str:
    """Say how large it was at first and at last."""
    seen = [(day, figure) for day, figure in sorted(known.items()) if figure.holds is not None]
    if not seen:
        return "not seen on any day"
    (began, first), (ended, last) = seen[0], seen[-1]
    if began == ended:
        return f"{_size(last)} on {ended}"
    return f"{_size(first)} on {began}, {_size(last)} on {ended}"


def _size(day: _Day) -> str:
    size = format_size(day.holds or 0)
    return size if day.files is None else f"{files(day.files)}, {size}"
