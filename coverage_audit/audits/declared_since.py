"""What an audit says nothing of, because the estate was declared otherwise since: a stricter policy, another copy."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from pathlib import Path

from coverage_audit.errors import EstateError
from coverage_audit.estate.changes import ChangeKind, EstateChange, diff
from coverage_audit.estate.declared import Part
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import estate_of


def changes_from(text: str, estate: Estate) -> tuple[EstateChange, ...]:
    """Return what is declared otherwise than in an estate of this text."""
    if text == estate.text:
        return ()
    try:
        before = estate_of(text, Path("estate.yaml"))
    except EstateError:  # written for another version of this program: that it changed is all that can be told
        return (EstateChange(kind=ChangeKind.CHANGED, part=Part.ESTATE, name=""),)
    return diff(before, estate)


def unjudged(text: str | None, estate: Estate) -> tuple[EstateChange, ...]:
    """Return the changes under which an audit of the estate of `text` (None: there was none) does not hold any more.

    A new name alone is none of them, nor is a dataset or a device that left.
    """
    if text is None:
        return ()
    changes = changes_from(text, estate)
    left = {one.name for one in changes if one.kind is ChangeKind.WENT and one.part is Part.DATASET}
    return tuple(one for one in changes if _unsettles(one, left))


def _unsettles(change: EstateChange, left: AbstractSet[str]) -> bool:
    if change.kind is ChangeKind.WENT:
        return change.part is Part.COPY and change.name.partition("@")[0] not in left
    return change.kind is not ChangeKind.RENAMED
