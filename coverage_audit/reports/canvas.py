"""A sheet to draw on that becomes a PNG, for mail programs that show no SVG: the one door to Pillow.

Lengths are points as a phone shows them; the picture itself is drawn larger, and stays sharp on a desk.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Final

from coverage_audit.errors import ReportError
from coverage_audit.judgement.verdict import Standing
from coverage_audit.notices.palette import BAD, GOOD, HURT, INK, LINE, PAPER, RULE, SHADE, SOFT, UNKNOWN, WARN

if TYPE_CHECKING:
    from PIL.Image import Image as ImageOf
    from PIL.ImageFont import FreeTypeFont

SCALE: Final = 3
WIDTH: Final = 360
_SHARES: Final = (1.0, 0.8, 0.6, 0.4, 0.2)
"""How much of a colour lies on the paper at the soft edges of letters and marks."""
_DRAWN: Final = (INK, SOFT, RULE, LINE, SHADE, GOOD, WARN, BAD, HURT, UNKNOWN)
_FIRST_LETTER, _LAST_LETTER = " ", "~"
_STANDINGS: Final = {
    Standing.PROVEN: GOOD,
    Standing.STALE: WARN,
    Standing.INCOMPLETE: BAD,
    Standing.DAMAGED: HURT,
    Standing.UNVERIFIED: UNKNOWN,
}

Point = tuple[float, float]


class Canvas:
    """Paper of `WIDTH` points and a height."""

    def __init__(self, height: float) -> None:
        from PIL import Image, ImageDraw  # noqa: PLC0415 - slow to import, and needed once a week

        self._image = Image.new("RGB", (WIDTH * SCALE, round(height * SCALE)), PAPER)
        self._draw = ImageDraw.Draw(self._image)

    def box(self, x: float, y: float, wide: float, high: float, colour: str) -> None:
        """Fill a rectangle; whatever is wider and higher than nothing can be seen."""
        left, top = round(x * SCALE), round(y * SCALE)
        right, bottom = max(round((x + wide) * SCALE), left + 1), max(round((y + high) * SCALE), top + 1)
        self._draw.rectangle((left, top, right - 1, bottom - 1), fill=colour)

    def text(self, x: float, y: float, words: str, *, size: float = 11, colour: str = INK, anchor: str = "ls") -> None:
        """Write words with their baseline at `y`; `anchor` as Pillow names them: `l`, `m` or `r`, then `s`."""
        self._draw.text((x * SCALE, y * SCALE), words, fill=colour, font=_font(size), anchor=anchor)

    def mark(self, x: float, y: float, standing: Standing, radius: float = 4.2) -> None:
        """Draw the mark of a standing around a point: each has a shape of its own."""
        colour = _STANDINGS[standing]
        around = self._around(x, y, radius)
        if standing is Standing.PROVEN:
            self._draw.ellipse(around, fill=colour)
        elif standing is Standing.STALE:
            up, right, down, left = (
                (x, y - 1.2 * radius),
                (x + 1.2 * radius, y),
                (x, y + 1.2 * radius),
                (x - 1.2 * radius, y),
            )
            self._draw.polygon(_scaled((up, right, down, left)), fill=PAPER, outline=colour, width=SCALE)
            self._draw.polygon(_scaled((up, down, left)), fill=colour)
        elif standing is Standing.INCOMPLETE:
            self._draw.pieslice(around, 0, 270, fill=colour)
        elif standing is Standing.DAMAGED:
            reach = 0.85 * radius
            for end in (reach, -reach):
                line = _scaled(((x - reach, y - end), (x + reach, y + end)))
                self._draw.line(line, fill=colour, width=round(2.4 * SCALE))
        else:
            for start in range(0, 360, 45):
                self._draw.arc(around, start, start + 28, fill=colour, width=round(1.4 * SCALE))

    def png(self) -> bytes:
        """Return the picture."""
        from PIL import Image  # noqa: PLC0415 - as above

        out = io.BytesIO()
        self._image.quantize(palette=self._palette(), dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
        return out.getvalue()

    def _palette(self) -> ImageOf:
        """Return the few colours that are drawn with, so that the file is small and no colour is another's average."""
        from PIL import Image, ImageColor  # noqa: PLC0415 - as above

        paper = ImageColor.getrgb(PAPER)[:3]
        blends = [
            round(share * part + (1 - share) * under)
            for colour in _DRAWN
            for share in _SHARES
            for part, under in zip(ImageColor.getrgb(colour)[:3], paper, strict=True)
        ]
        palette = Image.new("P", (1, 1))
        palette.putpalette([*paper, *blends])
        return palette

    def _around(self, x: float, y: float, radius: float) -> tuple[float, float, float, float]:
        return ((x - radius) * SCALE, (y - radius) * SCALE, (x + radius) * SCALE, (y + radius) * SCALE)


def fitting(words: str, size: float, wide: float) -> str:
    """Return words as they can be written, cut so that they are no wider than `wide` points.

    The font has the letters of ASCII alone: marks above letters are left out, and what is no such letter then cannot be
    written at all (empty): the mail itself names it.
    """
    plain = "".join(one for one in unicodedata.normalize("NFKD", words) if not unicodedata.combining(one))
    if not all(_FIRST_LETTER <= letter <= _LAST_LETTER for letter in plain):
        return ""
    if width_of(plain, size) <= wide:
        return plain
    while plain and width_of(f"{plain}...", size) > wide:
        plain = plain[:-1]
    return f"{plain}..."


def width_of(words: str, size: float) -> float:
    """Return how wide words of a size are, in points."""
    return float(_font(size).getlength(words)) / SCALE


def _scaled(points: Sequence[Point]) -> list[Point]:
    return [(x * SCALE, y * SCALE) for x, y in points]


@cache
def _font(size: float) -> FreeTypeFont:
    from PIL import ImageFont  # noqa: PLC0415 - as above

    font = ImageFont.load_default(size * SCALE)
    if isinstance(font, ImageFont.ImageFont):
        raise ReportError("pictures cannot be drawn: this Pillow was built without FreeType")
    return font
