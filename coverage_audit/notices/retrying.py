"""How long to wait before what failed is tried again."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

FIRST: Final = timedelta(minutes=1)
LONGEST: Final = timedelta(hours=6)
_MOST_DOUBLINGS: Final = 9  # 512 minutes are beyond the longest


def wait_after(tries: int) -> timedelta:
    """Return the wait after so many tries (1 or more) that failed: it doubles each time, up to six hours, for ever."""
    return min(LONGEST, FIRST * (1 << min(tries - 1, _MOST_DOUBLINGS)))
