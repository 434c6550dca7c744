"""What can go wrong with the database, said so that a person knows what to do."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import SQLAlchemyError

from coverage_audit.errors import LedgerError
from coverage_audit.evidence.visible import visible

_MOST_SAID = 200

_DAMAGED = ("malformed", "not a database", "disk image", "corrupt")


def damaged(where: str, detail: str) -> LedgerError:
    """Return the error for a ledger that cannot be trusted any more."""
    return LedgerError(
        f"the ledger {where} is damaged ({detail}): put back a copy of the whole state folder, or move the folder "
        "aside and start with a new one (then identities are pinned and differences dated anew)"
    )


def _said(error: Exception) -> str:
    return visible(f"{type(error).__name__}: {error}")[:_MOST_SAID]


@contextmanager
def speaking_of_database(where: str) -> Iterator[None]:
    """Turn any error of the database, or of a row that cannot be read back, into a LedgerError.

    `where` names the database without any password.
    """
    try:
        yield
    except (ValueError, LookupError, TypeError) as error:  # what is bound is checked by the columns, as SQLAlchemyError
        raise LedgerError(
            f"the ledger {where} holds something that cannot be read back ({_said(error)}): put back a copy of the "
            "whole state folder; if that one cannot be read either, this is a defect of the program"
        ) from error
    except SQLAlchemyError as error:
        said = str(getattr(error, "orig", None) or error).strip()
        if any(word in said for word in _DAMAGED):
            raise damaged(where, said) from error
        if "is full" in said or "No space left" in said:
            raise LedgerError(f"the ledger {where} cannot be written: the disk is full; nothing was lost") from error
        if "locked" in said or "lock timeout" in said:
            raise LedgerError(f"the ledger {where} is in use by another program ({said}); try again") from error
        raise LedgerError(f"the ledger {where} cannot be used: {said}") from error
