"""Options that do not go together are refused with one clear message."""

from __future__ import annotations

from coverage_audit.errors import UsageError


def refuse(wrong: object, why: str) -> None:
    """Raise UsageError with `why` where something that is `wrong` was given."""
    if wrong:
        raise UsageError(why)
