"""Silence in a process that knows an address."""

from __future__ import annotations

import logging
import os


def be_silent() -> None:
    """Let nothing out of this process: logs, warnings and tracebacks of libraries can repeat the address."""
    logging.lastResort = None
    logging.getLogger().handlers = [logging.NullHandler()]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
