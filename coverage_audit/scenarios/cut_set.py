"""The smallest sets of failures that lose a dataset."""

from __future__ import annotations

from dataclasses import dataclass

from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.judgement.domains import Domain


@dataclass(frozen=True, kw_only=True)
class CutMember:
    """One failure of a cut set: any one of `domains` is enough for it, the narrowest is named first.

    `needed` above 1: so many of `domains` (drives of one volume) must be lost together.
    """

    domains: tuple[Domain, ...]
    needed: int = 1


@dataclass(frozen=True, kw_only=True)
class CutSet:
    """A smallest set of failures after which nothing is shown to hold a dataset; with any one less, something is.

    `certain`: all that is shown to hold it is lost for sure. Else some of it is only not shown to be apart from that.
    """

    members: tuple[CutMember, ...]
    certain: bool = True

    @property
    def order(self) -> int:
        """How many failures it takes."""
        return sum(member.needed for member in self.members)


@dataclass(frozen=True, kw_only=True)
class DatasetCuts:
    """Every smallest set of at most `at_most` failures that loses a dataset, the smallest first.

    Reckoned over the places that are shown to hold something of it; `not_counted` are the others. Without one that is
    shown there is nothing to lose: `shown` is False, and no set is given.
    """

    dataset: DatasetId
    shown: bool
    sets: tuple[CutSet, ...]
    at_most: int
    not_counted: tuple[Address, ...]
