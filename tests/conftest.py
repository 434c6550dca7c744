"""Fixtures that several rooms share are made known here."""

from __future__ import annotations

import signal

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell that starts the tests in the background has them ignore it, and with them all that they start.
    signal.signal(signal.SIGINT, signal.default_int_handler)

pytest_plugins = [
    "tests.parts.tools",
    "tests.parts.databases",
    "tests.parts.ledgers",
    "tests.parts.chromium",
    "tests.parts.mailbox",
    "tests.parts.loops",
    "tests.parts.pools",
    "tests.parts.sshd",
    "tests.parts.busybox",
    "tests.parts.sftp_only",
    "tests.parts.machines",
    "tests.parts.station",
    "tests.parts.two_boxes",
    "tests.parts.tampering",
    "tests.parts.slow_line",
    "tests.parts.hanging",
    "tests.parts.watching",
    "tests.parts.moved_clock",
    "tests.parts.daemons",
    "tests.parts.year",
]
