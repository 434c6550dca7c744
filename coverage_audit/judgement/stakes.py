"""A dataset's places as stakes: what each holds, and by what failures that is lost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from coverage_audit.estate.model import Address, Copy, Estate, Volume
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.domains import Domain
from coverage_audit.judgement.falling import Falls, falls_of
from coverage_audit.judgement.holds import Holds, copy_holds, original_holds
from coverage_audit.judgement.key_places import falls_of_keeper, keys_left


@dataclass(frozen=True, kw_only=True)
class KeyHolder:
    """A site or device that keeps a key, and by which failures that is lost. `had`: it can be had there at all."""

    name: str
    falls: frozenset[Domain]
    had: bool = True


@dataclass(frozen=True, kw_only=True)
class Stake:
    """One place of a dataset. `keys` are the layers of encryption: of each at least one holder of its key must be left.

    The original's own key does not count: it is open while it is in use.
    """

    number: int
    address: Address
    holds: Holds
    falls: Falls
    encrypted: bool = False
    keys: tuple[tuple[KeyHolder, ...], ...] = ()

    def key_gone(self, failed: frozenset[Domain]) -> bool:
        """Whether the last key to it is gone."""
        had = ([holder for holder in layer if holder.had] for layer in self.keys)
        return any(layer and all(holder.falls & failed for holder in layer) for layer in had)

    def lost_by(self, failed: frozenset[Domain], *, perhaps: bool = False) -> bool:
        """Whether all that it holds is lost when all of these fail; with `perhaps`, whether it may be."""
        return self.falls.by(failed, perhaps=perhaps) or self.key_gone(failed)

    def domains(self) -> frozenset[Domain]:
        """Return every failure that has a part in its loss."""
        return self.falls.domains().union(*(holder.falls for layer in self.keys for holder in layer))


def stakes_of(context: DatasetContext, others: Iterable[PlaceEvidence] = ()) -> tuple[Stake, ...]:
    """Return the dataset's places, the original first. `others` are places of other datasets of the audit."""
    places = context.holdings.places
    falls = falls_of(places, context.holdings.relations, context.estate, context.machines, tuple(others))
    first = Stake(
        number=ORIGINAL,
        address=places[ORIGINAL].address,
        holds=original_holds(context.original),
        falls=falls[ORIGINAL],
        encrypted=places[ORIGINAL].place.volume.encrypted,
    )
    return (first, *(_of_copy(number, context, falls[number]) for number in range(1, len(places))))


def _of_copy(number: int, context: DatasetContext, falls: Falls) -> Stake:
    copy = context.copies[number - 1]
    layers = key_layers(copy.evidence.copy, copy.evidence.place.volume)
    keys = tuple(tuple(_holders(layer, context.estate)) for layer in layers)
    holds = copy_holds(copy, context)
    return Stake(
        number=number,
        address=copy.address,
        holds=holds if not holds.shown or all(any(h.had for h in layer) for layer in keys) else Holds.NOT_SHOWN,
        falls=falls,
        encrypted=bool(layers),
        keys=tuple(layer for layer in keys if layer),
    )


def key_layers(copy: Copy, volume: Volume) -> tuple[tuple[str, ...], ...]:
    """Return who keeps the key of each layer of a copy's encryption; an empty one: nobody is declared to."""
    layers = [(volume.encrypted, volume.key_kept), (copy.encrypted, copy.key_kept)]
    return tuple(kept for encrypted, kept in layers if encrypted)


def _holders(names: Iterable[str], estate: Estate) -> Iterator[KeyHolder]:
    """Yield those that are declared: of others nothing says that they keep anything."""
    had = keys_left(estate)
    declared = {str(site.id) for site in estate.sites} | {str(device.id) for device in estate.devices}
    for name in names:
        if name in declared:
            yield KeyHolder(name=name, falls=falls_of_keeper(name, estate), had=name in had)
