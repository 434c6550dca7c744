"""What changed in the estate between two audits: pure, from what was declared then and what is declared now.

A part that was renamed or moved is one part; one that only looks like it (the owner did not say so) came and went.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from coverage_audit.estate.declared import Declared, Part, declared_parts
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Estate, VolumeKey
from coverage_audit.estate.units import format_size

CAPACITY_MOVES = 0.05
"""By which part a capacity must have changed: pools that share their room show a little more or less every day."""


class ChangeKind(StrEnum):
    """What happened to a part of the estate."""

    CAME = "came"
    WENT = "went"
    RENAMED = "renamed"
    MOVED = "moved"
    SWAPPED = "swapped"
    ACCEPTED = "accepted"
    CHANGED = "changed"
    DAMAGED = "damaged"


@dataclass(frozen=True, kw_only=True)
class Detail:
    """One thing that is other than before, in words; None: there was, or is, none."""

    what: str
    before: str | None
    now: str | None


@dataclass(frozen=True, kw_only=True)
class EstateChange:
    """One change. `name` is the part's present name (of one that went: its last); `who` accepted it, if anybody did."""

    kind: ChangeKind
    part: str
    name: str
    details: tuple[Detail, ...] = ()
    who: str | None = None

    @property
    def subject(self) -> str:
        """What changed, in words."""
        return f"{self.part} {self.name}".rstrip()


def diff(before: Estate, now: Estate) -> tuple[EstateChange, ...]:
    """Return what changed between two estates, in the order of the present one; what went comes last."""
    old, new = declared_parts(before, lineage_of(now)), declared_parts(now)
    gone = [part for key, part in old.items() if key not in new]
    changed = [
        change
        for key, part in new.items()
        for change in (_same(old[key], part) if key in old else (_came(part, gone),))
    ]
    went = [EstateChange(kind=ChangeKind.WENT, part=part.part, name=part.name) for part in gone]
    return (*changed, *went)


def accepted(name: str, before: Sequence[tuple[str, str]], now: Sequence[tuple[str, str]], who: str) -> EstateChange:
    """Return the change that a person accepted of what a volume shows of itself (facts as name and value)."""
    old, new = dict(before), dict(now)
    details = _details(old, new)
    swapped = any(detail.before is not None and detail.now is not None for detail in details)
    kind = ChangeKind.SWAPPED if swapped else ChangeKind.ACCEPTED
    return EstateChange(kind=kind, part=Part.VOLUME, name=name, details=details, who=who)


def capacity_changes(
    before: Mapping[VolumeKey, int | None], now: Mapping[VolumeKey, int | None]
) -> tuple[EstateChange, ...]:
    """Return the volumes that are larger or smaller than they were (capacities in bytes, None: not shown)."""
    found = []
    for volume, size in now.items():
        old = before.get(volume)
        if old and size is not None and abs(size - old) > CAPACITY_MOVES * old:
            detail = Detail(what="capacity", before=format_size(old), now=format_size(size))
            found.append(EstateChange(kind=ChangeKind.CHANGED, part=Part.VOLUME, name=str(volume), details=(detail,)))
    return tuple(found)


def _came(part: Declared, gone: Sequence[Declared]) -> EstateChange:
    """Say that a part is new; where it lies just where one lay that went, say what to declare if it is the same."""
    if part.part is Part.COPY:
        twins = (old for old in gone if old.part is part.part and old.key.startswith(part.key.partition("@")[0] + "@"))
        hint = "if it is what lay at {}, say so with `moved_from`, or its history ends"
    else:
        twins = (old for old in gone if old.part is part.part and part.place and old.place == part.place)
        hint = "it lies where {} lay: if it is the same, say so with `formerly`, or its history ends"
    details = tuple(Detail(what=hint.format(old.name), before=None, now=None) for old in twins)
    return EstateChange(kind=ChangeKind.CAME, part=part.part, name=part.name, details=details[:1])


def _same(old: Declared, part: Declared) -> Iterator[EstateChange]:
    """Say of a part that goes on what is other than it was; a rename and a move by themselves."""
    if part.part in {Part.DEVICE, Part.DATASET} and old.name != part.name:
        called = Detail(what="name", before=old.name, now=part.name)
        yield EstateChange(kind=ChangeKind.RENAMED, part=part.part, name=part.name, details=(called,))
    if old.place != part.place and part.part in {Part.DATASET, Part.COPY}:
        lies = Detail(what="place", before=old.place, now=part.place)
        yield EstateChange(kind=ChangeKind.MOVED, part=part.part, name=part.name, details=(lies,))
    details = _details(old.values, part.values)
    if details:
        yield EstateChange(kind=ChangeKind.CHANGED, part=part.part, name=part.name, details=details)


def _details(old: Mapping[str, str], new: Mapping[str, str]) -> tuple[Detail, ...]:
    return tuple(
        Detail(what=what, before=old.get(what), now=new.get(what))
        for what in dict.fromkeys((*old, *new))
        if old.get(what) != new.get(what)
    )


def in_one_line(changes: Sequence[EstateChange], most: int | None = None) -> str:
    """Say changes in one line (empty: there are none), the first `most` and how many more there are (None: all)."""
    told = [said(change) for change in changes[:most]]
    more = len(changes) - len(told)
    return "; ".join((*told, f"and {more} more") if more else told)


def said(change: EstateChange) -> str:
    """Say one change."""
    by = f" (accepted by {change.who})" if change.who else ""
    details = ", ".join(_said(detail) for detail in change.details)
    if change.kind is ChangeKind.RENAMED and change.details:
        return f"{change.part} {change.details[0].before} is called {change.name} now{by}"
    if change.kind is ChangeKind.MOVED and change.details:
        detail = change.details[0]
        return f"{change.part} {change.name} moved from {detail.before} to {detail.now}{by}"
    return f"{change.subject} {_VERBS[change.kind]}{by}" + (f": {details}" if details else "")


_VERBS = {
    ChangeKind.CAME: "was declared",
    ChangeKind.WENT: "left the estate",
    ChangeKind.RENAMED: "was renamed",
    ChangeKind.MOVED: "moved",
    ChangeKind.SWAPPED: "was swapped",
    ChangeKind.ACCEPTED: "was accepted",
    ChangeKind.CHANGED: "is declared otherwise",
    ChangeKind.DAMAGED: "was found damaged since",
}


def _said(detail: Detail) -> str:
    if detail.before is None and detail.now is None:
        return detail.what
    return f"{detail.what} {detail.before or 'none'}, now {detail.now or 'none'}"
