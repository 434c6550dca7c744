"""The year as a small picture for mails: what each day proved, and what no copy held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from coverage_audit.ledger.outgoing import Picture
from coverage_audit.notices.palette import BAD, GOOD, LINE, RULE, SHADE, SOFT, UNKNOWN
from coverage_audit.reports.canvas import WIDTH, Canvas, width_of
from coverage_audit.reports.days import DayState, Span

NAME: Final = "year.png"
_LEGEND_AT: Final = 28.0
_STRIP_AT: Final = 36.0
_STRIP_HIGH: Final = 20.0
_AREA_AT: Final = 80.0
_AREA_HIGH: Final = 36.0
_HIGH: Final = 132.0
_BLOCKS: Final = {  # how high each state stands, and its colour: what asks for a look stands up
    DayState.CONFORMING: (0.16, GOOD),
    DayState.UNVERIFIED: (0.5, UNKNOWN),
    DayState.NONCONFORMING: (1.0, BAD),
}


@dataclass(frozen=True, kw_only=True)
class Exposed:
    """Bytes that no copy held on a day. `known` False: of some dataset it was not known, so it may have been more."""

    day: date
    bytes: int
    known: bool


def year_picture(states: Sequence[DayState], exposed: Sequence[Exposed], span: Span, alt: str) -> Picture:
    """Draw a span: `states` are what its days proved, `exposed` what no copy held on them."""
    canvas, day = Canvas(_HIGH), WIDTH / span.days
    canvas.text(0, 12, "What each day proved", size=12)
    _legend(canvas)
    for number, state in enumerate(states):
        _block(canvas, number * day, _STRIP_AT, day, _STRIP_HIGH, state)
    canvas.box(0, _STRIP_AT + _STRIP_HIGH, WIDTH, 0.5, LINE)
    canvas.text(0, 74, "Held by no copy (on the shade: not known of all)", size=12)
    most = max((each.bytes for each in exposed), default=0)
    for number, each in enumerate(exposed):
        if not each.known:
            canvas.box(number * day, _AREA_AT, day, _AREA_HIGH, SHADE)
        if each.bytes:
            high = max(_AREA_HIGH * each.bytes / most, 1.0)
            canvas.box(number * day, _AREA_AT + _AREA_HIGH - high, day, high, BAD)
    canvas.box(0, _AREA_AT + _AREA_HIGH, WIDTH, 0.5, LINE)
    _months(canvas, span, day)
    return Picture(name=NAME, alt=alt, png=canvas.png())


def _block(canvas: Canvas, x: float, y: float, wide: float, high: float, state: DayState) -> None:
    if state in _BLOCKS:
        share, colour = _BLOCKS[state]
        canvas.box(x, y + high * (1 - share), wide, high * share, colour)
    elif state is DayState.NO_AUDIT:
        canvas.box(x, y, wide, high * 0.2, SOFT)


def _legend(canvas: Canvas) -> None:
    x = 0.0
    for state in (*_BLOCKS, DayState.NO_AUDIT):
        _block(canvas, x, _LEGEND_AT - 9, 10, 10, state)
        canvas.text(x + 14, _LEGEND_AT, state.value, size=11, colour=SOFT)
        x += 32 + width_of(state.value, 11)


def _months(canvas: Canvas, span: Span, day: float) -> None:
    begins = [(number, each) for number, each in enumerate(span.all()) if each.day == 1]
    for number, each in begins[:: 1 + len(begins) // 9]:
        x = number * day
        canvas.box(x, _AREA_AT + _AREA_HIGH, 0.5, 4, RULE)
        if x < WIDTH - 20:
            canvas.text(x + 2, _AREA_AT + _AREA_HIGH + 12, f"{each:%b}", size=10.5, colour=SOFT)
