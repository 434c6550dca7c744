"""Waiting for what other processes do."""

from __future__ import annotations

import time
from collections.abc import Callable


def wait_for(condition: Callable[[], bool], seconds: float = 60) -> bool:
    """Wait until something holds; whether it came to hold in time, on a machine that has much else to do."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if condition():
            return True
        time.sleep(0.02)
    return False
