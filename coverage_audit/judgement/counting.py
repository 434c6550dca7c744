"""Counting proven copies, three-valued: what is certain, and what would be if all that is unknown were good.

Every figure only grows when one more copy is proven or one more pair is shown apart. So the least over all
ways in which the unknown may turn out is the figure with nothing assumed, and the most is the figure with
everything assumed: no other assignment needs to be tried.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from coverage_audit.estate.model import Address, Medium, SiteId
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.evidence.shelf import Attached
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.firmness import CHANGEABLE, Firm, Firmness
from coverage_audit.judgement.independence import Apart, Relations, largest_apart
from coverage_audit.judgement.reach import OUT_OF_REACH, Reach, Reached
from coverage_audit.judgement.verdict import Answer, Standing

ORIGINAL = 0
"""The original's number among the holdings; the copies follow in their declared order."""


@dataclass(frozen=True, kw_only=True)
class Holding:
    """One place that holds the dataset: the original or a copy. `seen_at` is when its tree was observed.

    `attached`: that was in this audit. `site` is where it is, `on_host` says since when a shelf drive stays attached.
    `reached` says whether the original's device can write to a copy, `firmness` whether it can be changed from there.
    """

    address: Address
    place: PlaceEvidence
    standing: Standing
    reason: str
    seen_at: datetime | None
    attached: bool
    site: SiteId | None = None
    on_host: Attached | None = None
    reached: Reached = OUT_OF_REACH
    firmness: Firmness = CHANGEABLE

    @property
    def is_at(self) -> SiteId:
        """The site that counts: the declared one unless another was seen."""
        return self.site or self.place.device.site


@dataclass(frozen=True, kw_only=True)
class Span:
    """A count with nothing assumed, and with everything unknown assumed good; `certain` <= `assumed`."""

    certain: int
    assumed: int

    def answer(self, required: int) -> Answer:
        """Hold the count against what is required."""
        if self.certain >= required:
            return Answer.CONFORMITY
        return Answer.UNVERIFIED if self.assumed >= required else Answer.NONCONFORMITY

    def lacking(self, required: int) -> float:
        """Return how many there are too few, with nothing assumed."""
        return float(max(0, required - self.certain))

    def __str__(self) -> str:
        """Say it: one figure where nothing is unknown, else from the one to the other."""
        return str(self.certain) if self.certain == self.assumed else f"{self.certain} (up to {self.assumed})"


@dataclass(frozen=True, kw_only=True)
class Holdings:
    """All places of a dataset, and how every two of them stand to each other."""

    places: tuple[Holding, ...]
    relations: Relations
    rehearsal: bool = False

    def proven(self) -> tuple[int, ...]:
        """Return the numbers of the proven."""
        return self._with({Standing.PROVEN})

    def perhaps(self) -> tuple[int, ...]:
        """Return the numbers of the proven and of those of which it is not known."""
        return self._with({Standing.PROVEN, Standing.UNVERIFIED})

    def counted(self) -> tuple[int, ...]:
        """Return the largest set of proven places shown apart."""
        return largest_apart(self.proven(), self.relations, assumed=False)

    def copies(self) -> Span:
        """Count the largest sets of places that are apart, device by device."""
        return self._apart(self.proven(), self.perhaps())

    def media(self) -> Span:
        """Count the kinds of medium; one that the drive speaks against is assumed at best."""
        certain = {self.medium(i) for i in self.proven() if not medium_doubt(self.places[i].place, self.rehearsal)}
        return Span(certain=len(certain), assumed=len({self.medium(i) for i in self.perhaps()}))

    def medium(self, number: int) -> Medium:
        """Return the medium that is declared of a place."""
        return self.places[number].place.volume.medium

    def offsite(self) -> Span:
        """Count the places at another site than the original's that are also apart from it."""
        away = [i for i in range(len(self.places)) if self._is_away(i)]
        shown = [i for i in away if self._from_original(i) is Apart.SHOWN]
        return self._apart(
            _both(self.proven(), shown),
            _both(self.perhaps(), [i for i in away if self._from_original(i) is not Apart.ONE]),
        )

    def offline(self) -> Span:
        """Count the places declared offline; one that was seen attached in this audit is offline at best.

        A shelf drive that stays attached is not offline at all, nor is what the original's device has mounted.
        """
        declared = [i for i, h in enumerate(self.places) if h.place.volume.offline and h.on_host is None]
        declared = [i for i in declared if self.places[i].reached.reach is not Reach.SHOWN]
        away = [i for i in declared if self.rehearsal or not self.places[i].attached]
        away = [i for i in away if self.places[i].reached.reach is Reach.NOT]
        return self._apart(_both(self.proven(), away), _both(self.perhaps(), declared))

    def immutable(self) -> Span:
        """Count the copies that are shown to be out of reach of changes made where the original is worked on."""
        firm = [self.firm(i) for i in range(len(self.places))]
        shown = [i for i, found in enumerate(firm) if found is Firm.SHOWN]
        perhaps = [i for i, found in enumerate(firm) if found is not Firm.NOT]
        return self._apart(_both(self.proven(), shown), _both(self.perhaps(), perhaps))

    def firm(self, number: int) -> Firm:
        """Say how firm a copy is; what may lie on the original's own machine is open at best, if it is not away."""
        found = self.places[number].firmness
        apart = Apart.ONE if number == ORIGINAL else self._from_original(number)
        if apart is Apart.ONE:
            return Firm.NOT
        return found.firm if apart is Apart.SHOWN or found.away else min(found.firm, Firm.OPEN)

    def _apart(self, certain: tuple[int, ...], assumed: tuple[int, ...]) -> Span:
        return Span(
            certain=len(largest_apart(certain, self.relations, assumed=False)),
            assumed=len(largest_apart(assumed, self.relations, assumed=True)),
        )

    def _with(self, standings: set[Standing]) -> tuple[int, ...]:
        return tuple(i for i, holding in enumerate(self.places) if holding.standing in standings)

    def _is_away(self, number: int) -> bool:
        return number != ORIGINAL and self.places[number].is_at != self.places[ORIGINAL].is_at

    def _from_original(self, number: int) -> Apart:
        return self.relations.between(ORIGINAL, number).apart


def medium_doubt(place: PlaceEvidence, rehearsal: bool) -> str | None:  # noqa: FBT001 - one plain question
    """Say why a declared medium is not believed (None: nothing speaks against it).

    A box that does not show whether its drive turns leaves the declaration standing; what a guest shows is its
    host's word and says nothing about the drive.
    """
    seen, box = place.volume_facts, place.device_facts
    if rehearsal:
        return None
    if not isinstance(seen, VolumeFacts):
        return f"{place.volume.key} shows nothing of itself, so nothing bears out its medium"
    if isinstance(box, DeviceFacts) and box.is_guest:
        return None
    declared = place.volume.medium
    if declared is Medium.SSD and seen.rotational is True:
        return f"{place.volume.key} is declared ssd, and its drive shows that it turns"
    if declared is Medium.HDD and seen.rotational is False:
        return f"{place.volume.key} is declared hdd, and its drive shows that it does not turn"
    return None


def _both(first: Iterable[int], second: Iterable[int]) -> tuple[int, ...]:
    wanted = set(second)
    return tuple(number for number in first if number in wanted)
