"""What the page prints of the smallest sets of failures: as text that only needs placing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coverage_audit.judgement.wording import joined
from coverage_audit.scenarios.cut_set import CutMember, CutSet, DatasetCuts

FIRST: Final = 6
"""So many sets of a dataset stand open; the rest folds away behind them."""

NOT_APART: Final = "not for sure: some places are not shown to be apart"

_FAILURES: Final = {1: "one failure", 2: "two failures", 3: "three failures"}


@dataclass(frozen=True, kw_only=True)
class CutView:
    """One set: how many failures it takes, and each of them as what is enough for it.

    `doubt` says why it is not certain (empty: it is).
    """

    order: int
    members: tuple[str, ...]
    doubt: str = ""


@dataclass(frozen=True, kw_only=True)
class CutsView:
    """One dataset: how many failures together it survives at least, in words, and the sets.

    The `first` of them stand open; none is of more than `at_most` failures.
    """

    name: str
    slug: str
    said: str
    sets: tuple[CutView, ...]
    not_counted: tuple[str, ...]
    at_most: int
    first: int = FIRST


def cuts_view(cuts: DatasetCuts) -> CutsView:
    """Prepare the sets of one dataset."""
    least = min((found.order for found in cuts.sets), default=None)
    return CutsView(
        name=cuts.dataset,
        slug=_slug(cuts, least),
        said=_said(cuts, least),
        sets=tuple(map(_set, cuts.sets)),
        not_counted=tuple(map(str, cuts.not_counted)),
        at_most=cuts.at_most,
    )


def weakest_first(cuts: Sequence[DatasetCuts]) -> list[DatasetCuts]:
    """Return the datasets in the order in which they fall: of which nothing is shown, then by their smallest set."""
    return sorted(cuts, key=lambda one: (one.shown, min((found.order for found in one.sets), default=one.at_most + 1)))


def member_said(member: CutMember) -> str:
    """Say one failure: its narrowest domain, and what else is enough for it."""
    names = [str(domain) for domain in member.domains]
    if member.needed > 1:
        return f"{member.needed} of {joined(names)}"
    return names[0] if len(names) == 1 else f"{names[0]} (or {joined(names[1:], by='or')})"


def _set(found: CutSet) -> CutView:
    return CutView(
        order=found.order, members=tuple(map(member_said, found.members)), doubt="" if found.certain else NOT_APART
    )


def _slug(cuts: DatasetCuts, least: int | None) -> str:
    if not cuts.shown:
        return "not-shown"
    if least != 1:
        return "held"
    return "lost" if _is_certain(cuts) else "not-shown"


def _is_certain(cuts: DatasetCuts) -> bool:
    """Whether some single failure takes it for sure."""
    return any(found.certain for found in cuts.sets if found.order == 1)


def _said(cuts: DatasetCuts, least: int | None) -> str:
    if not cuts.shown:
        return "nothing shows that any place holds it"
    if least is None:
        return f"survives any {_FAILURES.get(cuts.at_most, f'{cuts.at_most} failures')} at once"
    if least == 1 and not _is_certain(cuts):
        return "not shown to survive one failure"
    return "lost by one failure" if least == 1 else f"survives any {_FAILURES.get(least - 1, f'{least - 1} failures')}"
