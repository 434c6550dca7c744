"""The fallback chart as a picture for mails: the same rows as on the page, narrow enough for a phone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from coverage_audit.judgement.verdict import Conclusion, Standing
from coverage_audit.ledger.outgoing import Picture
from coverage_audit.notices.palette import BAD, GOOD, INK, LINE, RULE, SHADE, SOFT, UNKNOWN
from coverage_audit.reports.canvas import WIDTH, Canvas, fitting, width_of
from coverage_audit.reports.chart import BOUND, ChartRow, Mark, ticks

NAME: Final = "fallback.png"
_PLACE_AT: Final = 4.0
_SPAN_AT: Final = 152.0
_SCALE_AT: Final = 160.0
_SCALE_WIDE: Final = WIDTH - _SCALE_AT - 2
_LEGEND: Final = 34.0
_HEAD: Final = 17.0
_NAME_HIGH: Final = 18.0
_ROW_HIGH: Final = 15.5
_GAP: Final = 6.0
_COLOUR: Final = {Conclusion.NONCONFORMING: BAD, Conclusion.UNVERIFIED: UNKNOWN, Conclusion.CONFORMING: GOOD}


def fallback_picture(rows: Sequence[ChartRow], numbers: Sequence[str], alt: str) -> Picture:
    """Draw datasets with their copies; `numbers` are the words by which the mail's table counts them."""
    high = _LEGEND + _HEAD + sum(_high(row) for row in rows) + 4
    canvas = Canvas(high)
    _legend(canvas)
    _scale(canvas, _LEGEND)
    y = _LEGEND + _HEAD
    for row, number in zip(rows, numbers, strict=True):
        _dataset(canvas, y, row, number)
        y += _high(row)
    return Picture(name=NAME, alt=alt, png=canvas.png())


def _high(row: ChartRow) -> float:
    return _NAME_HIGH + _ROW_HIGH * max(len(row.marks), 1) + _GAP


def _legend(canvas: Canvas) -> None:
    x = 6.0
    for standing in Standing:
        canvas.mark(x, 9, standing)
        canvas.text(x + 8, 13, standing.value, size=11.5, colour=SOFT)
        x += 21 + width_of(standing.value, 11.5)
    canvas.box(4, 20, 1.4, 10, INK)
    canvas.text(14, 29, "max_age: on the shade, too old (y m w d: year to day)", size=11.5, colour=SOFT)


def _scale(canvas: Canvas, y: float) -> None:
    for tick in ticks():
        if tick.word == "now":
            canvas.text(_x(tick.at), y + 11, tick.word, size=10.5, colour=SOFT, anchor="rs")
        elif tick.word != "hour":  # there is no room for it beside now
            canvas.text(_x(tick.at), y + 11, tick.word[0], size=10.5, colour=SOFT, anchor="ms")
    canvas.text(_SCALE_AT, y + 11, "none", size=10.5, colour=SOFT)
    canvas.box(0, y + _HEAD - 2, WIDTH, 0.5, LINE)


def _dataset(canvas: Canvas, y: float, row: ChartRow, number: str) -> None:
    conclusion = row.dataset.conclusion
    said = f"{number} {fitting(row.dataset.id, 13, 210)}".rstrip()
    canvas.text(0, y + 13, said, size=13)
    canvas.text(WIDTH - 1, y + 13, conclusion.value, size=11.5, colour=_COLOUR[conclusion], anchor="rs")
    if not row.marks:
        canvas.text(_PLACE_AT, y + _NAME_HIGH + 10, "no copy is declared", size=11.5, colour=SOFT)
    for place, mark in enumerate(row.marks):
        _copy(canvas, y + _NAME_HIGH + place * _ROW_HIGH, mark)
    canvas.box(0, y + _high(row) - _GAP / 2, WIDTH, 0.4, RULE)


def _copy(canvas: Canvas, y: float, mark: Mark) -> None:
    canvas.text(_PLACE_AT, y + 11.5, fitting(mark.place, 11.5, 90), size=11.5)
    canvas.text(_SPAN_AT, y + 11.5, mark.span or "none", size=11.5, colour=SOFT, anchor="rs")
    canvas.box(_SCALE_AT, y, mark.limit * _SCALE_WIDE / 100, _ROW_HIGH, SHADE)
    for tick in ticks():
        canvas.box(_x(tick.at), y, 0.35, _ROW_HIGH, RULE)
    canvas.box(_x(BOUND), y, 0.35, _ROW_HIGH, LINE)
    canvas.box(_x(mark.limit), y, 1.2, _ROW_HIGH, INK)
    canvas.mark(_x(mark.at), y + _ROW_HIGH / 2, mark.standing)


def _x(at: float) -> float:
    return _SCALE_AT + at * _SCALE_WIDE / 100


def said_of_rows(rows: Sequence[ChartRow]) -> Iterator[str]:
    """Say each row of the chart in a sentence, for those who do not see it."""
    for row in rows:
        copies = "; ".join(copy_said(mark) for mark in row.marks) or "no copy is declared"
        yield f"{row.dataset.id}, {row.dataset.conclusion}: {copies}."


def copy_said(mark: Mark) -> str:
    """Say where a copy stands: how far back it brings its dataset, and how far back it may."""
    return f"{_back(mark)} ({mark.standing}; at most {mark.max_age})"


def copies_said(row: ChartRow) -> tuple[str, ...]:
    """Say where the copies of a dataset stand; in one line where all is well."""
    if not row.marks:
        return ("no copy is declared",)
    proven = all(mark.standing is Standing.PROVEN for mark in row.marks)
    if row.dataset.conclusion is Conclusion.CONFORMING and proven:
        return (f"{'; '.join(_back(mark) for mark in row.marks)} ({'all ' if len(row.marks) > 1 else ''}proven)",)
    return tuple(copy_said(mark) for mark in row.marks)


def _back(mark: Mark) -> str:
    back = "no proven point" if mark.span is None else f"{mark.span} back"
    return f"{mark.place}, {mark.site}: {back}"
