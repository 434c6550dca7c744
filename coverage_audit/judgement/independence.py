"""Independence: whether two places are shown apart, shown to be one, or not shown to be either.

Shown apart takes facts of both sides: machine id and boot id, host key where the box was asked over SSH, filesystem
UUID, and what the filesystem stands on; one of them missing on either side leaves it open, and so does a guest that
does not say whose. Where facts are silent the owner's attestation stands; where they speak against it, they win.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Attestation, DeviceId, Estate
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.filesystems import filesystems_not_shown_apart, filesystems_shown_one
from coverage_audit.judgement.hosting import Machines, shared, stands_on
from coverage_audit.judgement.machines import not_shown_apart, shown_one
from coverage_audit.judgement.mounting import mounts_from_elsewhere
from coverage_audit.reckoning.independent_set import largest_independent_set


class Apart(StrEnum):
    """Whether two places can be lost independently of each other."""

    SHOWN = "shown apart"
    ONE = "shown to be one"
    NOT_SHOWN = "not shown"


@dataclass(frozen=True, kw_only=True)
class Relation:
    """How two places stand to each other, and why. `attested`: it rests on the owner's word (SHOWN only).

    `declared`: it follows from the estate file alone (one device, a guest and its host, a rehearsal).
    """

    apart: Apart
    reasons: tuple[str, ...] = ()
    attested: Attestation | None = None
    declared: bool = False


def relation(
    a: PlaceEvidence, b: PlaceEvidence, estate: Estate, machines: Mapping[DeviceId, DeviceFacts] | None = None
) -> Relation:
    """Return how two places stand to each other; symmetric in its first two arguments.

    `machines` are the facts of other devices too, so that the host of a guest is recognised under another name.
    """
    known = _known(a, b, machines or {})
    declared = _declared_one(a, b, estate, known)
    if declared:
        return Relation(apart=Apart.ONE, reasons=(declared,), declared=True)
    if estate.rehearsal:
        return _rehearsed(a, b)
    one = _shown_to_be_one(a, b, estate, known)
    if one:
        return Relation(apart=Apart.ONE, reasons=tuple(one))
    lacking = _not_shown_apart(a, b)
    if not lacking:
        return Relation(apart=Apart.SHOWN, reasons=("they show two machines and two filesystems",))
    attested = _attestation(a, b)
    if attested:
        return Relation(apart=Apart.SHOWN, reasons=tuple(lacking), attested=attested)
    return Relation(apart=Apart.NOT_SHOWN, reasons=tuple(lacking))


@dataclass(frozen=True, kw_only=True)
class Relations:
    """All pairs of some places, by their numbers."""

    pairs: Mapping[tuple[int, int], Relation] = field(default_factory=dict)

    def between(self, first: int, second: int) -> Relation:
        """Return how two different places stand to each other."""
        return self.pairs[min(first, second), max(first, second)]


def relations(places: Sequence[PlaceEvidence], estate: Estate, machines: Machines) -> Relations:
    """Relate every pair of places."""
    return Relations(
        pairs={
            (i, j): relation(places[i], places[j], estate, machines)
            for i in range(len(places))
            for j in range(i + 1, len(places))
        }
    )


def largest_apart(among: Sequence[int], found: Relations, *, assumed: bool) -> tuple[int, ...]:
    """Return the largest set of places of which every two are shown apart.

    `assumed`: pairs that are not shown either way are taken to be apart, the best that could be true.
    """
    good = {Apart.SHOWN, Apart.NOT_SHOWN} if assumed else {Apart.SHOWN}
    joined = [
        frozenset(
            other
            for other, second in enumerate(among)
            if first != second and found.between(first, second).apart not in good
        )
        for first in among
    ]
    return tuple(among[number] for number in largest_independent_set(joined))


def _known(a: PlaceEvidence, b: PlaceEvidence, machines: Machines) -> dict[DeviceId, DeviceFacts]:
    own = {place.device.id: place.device_facts for place in (a, b) if isinstance(place.device_facts, DeviceFacts)}
    return {**machines, **own}


def _declared_one(a: PlaceEvidence, b: PlaceEvidence, estate: Estate, known: Machines) -> str | None:
    return shared(stands_on(a, estate, known), stands_on(b, estate, known))


def _rehearsed(a: PlaceEvidence, b: PlaceEvidence) -> Relation:
    """In a rehearsal places are apart as declared; but one folder under two names is one folder."""
    facts = [place.volume_facts for place in (a, b)]
    paths = [seen.path for seen in facts if isinstance(seen, VolumeFacts)]
    if len(paths) == 2 and paths[0] == paths[1]:
        return Relation(apart=Apart.ONE, reasons=(f"both are the folder {paths[0]}",))
    return Relation(apart=Apart.SHOWN, reasons=("a rehearsal: taken as declared",), declared=True)


def _shown_to_be_one(a: PlaceEvidence, b: PlaceEvidence, estate: Estate, known: Machines) -> list[str]:
    under_a, under_b = stands_on(a, estate, known), stands_on(b, estate, known)
    machines = [
        shown_one(known[x], known[y])
        for x in under_a
        for y in under_b
        if x in known and y in known and not _only_mounts(a, b, x, y)
    ]
    return [reason for reason in (*machines, *filesystems_shown_one(a, b)) if reason]


def _only_mounts(a: PlaceEvidence, b: PlaceEvidence, x: DeviceId, y: DeviceId) -> bool:
    """Whether a device only mounts what another machine serves: that it is one machine then shows nothing."""
    return any(place.device.id == device and mounts_from_elsewhere(place) for place, device in ((a, x), (b, y)))


def _not_shown_apart(a: PlaceEvidence, b: PlaceEvidence) -> list[str]:
    lacking = [reason for place in (a, b) for reason in _about_one_side(place)]
    boxes = [place.device_facts for place in (a, b) if not isinstance(place.device.access, ShelfAccess)]
    shown = [facts for facts in boxes if isinstance(facts, DeviceFacts)]
    if len(shown) == 2:
        lacking += not_shown_apart(shown[0], shown[1])
    return lacking + filesystems_not_shown_apart(a, b)


def _about_one_side(place: PlaceEvidence) -> list[str]:
    if isinstance(place.device.access, ShelfAccess):
        return []
    if not isinstance(place.device_facts, DeviceFacts):
        return [f"{place.device.id} shows nothing of itself"]
    if place.device_facts.is_guest and place.device.runs_on is None:
        return [f"{place.device.id} shows itself to be a guest, and no `runs_on` says of whom"]
    return []


def _attestation(a: PlaceEvidence, b: PlaceEvidence) -> Attestation | None:
    for place, other in ((a, b), (b, a)):
        for attested in place.device.attested_apart:
            if attested.other == other.device.id:
                return attested
    return None
