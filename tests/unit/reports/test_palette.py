"""The page's colours, by the published formulas."""

from __future__ import annotations

import itertools
import math
import re
from importlib.resources import files

import pytest

CSS = files("coverage_audit.reports").joinpath("templates", "page.css").read_text(encoding="utf-8")
TEXT = ("ink", "soft", "good", "warn", "bad", "hurt", "unknown")
MARKS = ("good", "warn", "bad", "hurt", "unknown")

Colour = tuple[float, float, float]
Matrix = tuple[Colour, Colour, Colour]


def palette(scheme: str) -> dict[str, Colour]:
    light, dark = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)[:2]
    text = light if scheme == "light" else dark
    return {
        name: (int(value[0:2], 16) / 255, int(value[2:4], 16) / 255, int(value[4:6], 16) / 255)
        for name, value in re.findall(r"--([a-z]+): #([0-9a-f]{6})", text)
    }


def linear(colour: Colour) -> Colour:
    # WCAG 2.2, definition of relative luminance (sRGB, IEC 61966-2-1)
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in colour)
    return red, green, blue


def luminance(colour: Colour) -> float:
    red, green, blue = linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Colour, other: Colour) -> float:
    # WCAG 2.2, definition of contrast ratio
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", TEXT)
def test_text_can_be_read_on_paper_and_on_the_shade(scheme: str, name: str) -> None:
    # WCAG 2.2 success criterion 1.4.3 (AA): at least 4.5 to 1
    colours = palette(scheme)
    assert contrast(colours[name], colours["paper"]) >= 4.5
    assert contrast(colours[name], colours["shade"]) >= 4.5


# Machado, Oliveira, Fernandes 2009, severity 1.0 (matrices from memory)
EYES = {
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.01182, 0.04294, 0.968881)),
    "tritanopia": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.3039)),
}


def through(matrix: Matrix, colour: Colour) -> Colour:
    red, green, blue = (sum(weight * part for weight, part in zip(row, colour, strict=True)) for row in matrix)
    return red, green, blue


def lab(colour: Colour) -> Colour:
    # CIE 1976 L*a*b* of linear sRGB under D65 (IEC 61966-2-1 for the matrix; CIE 15 for the rest)
    to_xyz: Matrix = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    x, y, z = (
        part ** (1 / 3) if part > (6 / 29) ** 3 else part / (3 * (6 / 29) ** 2) + 4 / 29
        for part in (
            max(value, 0) / white for value, white in zip(through(to_xyz, colour), (0.9505, 1.0, 1.089), strict=True)
        )
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("eye", EYES)
def test_no_two_marks_pass_for_one_to_an_eye_that_lacks_a_cone(scheme: str, eye: str) -> None:
    # a CIE76 difference of 2.3 is just noticeable (Sharma 2003); shapes and words differ besides
    colours = palette(scheme)
    seen = {name: lab(through(EYES[eye], linear(colours[name]))) for name in MARKS}
    for one, other in itertools.combinations(MARKS, 2):
        assert math.dist(seen[one], seen[other]) > 3 * 2.3, (one, other)
