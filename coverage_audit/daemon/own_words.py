"""What the daemon tells of itself: nights given up, an estate file that is refused, a ledger that cannot be used."""

from __future__ import annotations

import hashlib
from datetime import date

from coverage_audit.daemon.due import Night
from coverage_audit.daemon.reloading import Refused
from coverage_audit.notices.reminding import steps
from coverage_audit.notices.telling import Notice

_MOST_LINES = 12


def given_up(night: Night, why: str) -> Notice:
    """Return the notice of a night that failed too often."""
    return Notice(
        subject=f"no audit in the night of {night.of}",
        lines=(
            f"The audit of this night failed each time it was tried, last because: {why}",
            *_missed(night),
            "Nothing was concluded; what was known before stands as it was. The next night is audited at its time.",
            "To mend it: see what the reason says, then run coverage-audit audit --notify.",
        ),
        once=f"given up {night.of}",
    )


def busy(night: Night) -> Notice:
    """Return the notice of a night that passed while another audit was running."""
    return Notice(
        subject=f"no audit of its own in the night of {night.of}",
        lines=(
            "Another audit held the state folder until the next night was due.",
            *_missed(night),
            "To mend it: look for an audit that hangs; the file 'lock' in the state folder names its process.",
        ),
        once=f"busy {night.of}",
    )


def _missed(night: Night) -> tuple[str, ...]:
    if not night.missed:
        return ()
    if night.missed == 1:
        return (f"The night before it, {night.missed_since}, had no audit either.",)
    return (f"The {night.missed} nights before it, since {night.missed_since}, had no audit either.",)


def no_page(page_of: date, why: str) -> Notice:
    """Return the notice of a weekly page that cannot be made; told once of each."""
    return Notice(
        subject=f"the weekly page of {page_of} cannot be made",
        lines=(
            f"It failed each time it was tried, last because: {why}",
            "It is tried again every two hours. The nights go on, and so do the other notices.",
            "To mend it: see what the reason says; coverage-audit summary makes a page by hand.",
        ),
        once=f"no page {page_of}",
    )


def estate_refused(refused: Refused, since: date, today: date) -> Notice:
    """Return the notice of an estate file that is broken `since` a date; it is told again as any finding that lasts."""
    mistakes = refused.why.splitlines()
    more = [f"and {len(mistakes) - _MOST_LINES} more"] if len(mistakes) > _MOST_LINES else []
    content = hashlib.sha256(refused.content.encode("utf-8", "backslashreplace")).hexdigest()
    return Notice(
        subject="the changed estate file is refused",
        lines=(
            "The estate file was changed and cannot be used. The last good one stays in force until it is mended.",
            *mistakes[:_MOST_LINES],
            *more,
            "To mend it: coverage-audit preflight shows every mistake with its place.",
        ),
        once=f"estate refused {content} {since} {steps((today - since).days)}",
    )


def ledger_lost(why: str, day: date) -> Notice:
    """Return the notice of a ledger that cannot be used; it is sent past the outbox, once a day."""
    return Notice(
        subject="the auditor cannot use its ledger: no audits",
        lines=(
            f"{why}",
            "Until this is mended no night is audited and no other notice can be told. This is said once a day.",
        ),
        once=f"ledger lost {day}",
    )
