"""Whether a copy keeps up: what ends the grace that is given to what is young enough."""

from __future__ import annotations

from datetime import datetime, timedelta

from coverage_audit.evidence.difference import TakeUp, Tally


def lacks_most(total: Tally, missing: Tally, old_name: Tally) -> bool:
    """Whether more than half of the original's files or of its bytes are missing.

    What is there under an old name is not counted as missing: a renamed folder is no empty copy.
    """
    files = missing.files - min(missing.files, old_name.files)
    held_bytes = min(missing.bytes, old_name.bytes)
    return 2 * files > total.files or 2 * (missing.bytes - held_bytes) > total.bytes


def takes_nothing_up(record: TakeUp, *, now: datetime, max_age: timedelta) -> bool:
    """Whether the copy has shown that it takes nothing up, so that nothing is pending for it.

    Something that it lacked left the original without ever being held, and nothing was taken up since; no progress
    was seen within `max_age`, and something was lacking for more than half of it, so that two audits shortly
    after each other prove nothing (half: the project's own choice, no published source).
    """
    if not record.gone_unheld or record.pending_since is None:
        return False
    stalled = record.last_progress is None or now - record.last_progress > max_age
    return stalled and now - record.pending_since > max_age / 2
