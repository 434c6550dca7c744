"""The colours of what is mailed: those of the pages' light paper, each said by a word as well."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

PAPER: Final = "#faf8f1"
INK: Final = "#23272c"
SOFT: Final = "#5b6067"
RULE: Final = "#ddd7c6"
LINE: Final = "#a9a28c"
MARGIN: Final = "#cf9a92"
SHADE: Final = "#efe9da"
GOOD: Final = "#00614a"
WARN: Final = "#8a5f00"
BAD: Final = "#8e2c00"
HURT: Final = "#86305f"
UNKNOWN: Final = "#22557f"

OF_SIGN: Final[Mapping[str, str]] = {
    "fails": BAD,
    "nonconforming": BAD,
    "unverified": UNKNOWN,
    "conforming": GOOD,
    "recovered": GOOD,
    "waived": WARN,
    "overdue": BAD,
}
"""The colour of a sign; of all others `SOFT`."""
