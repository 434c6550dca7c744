"""Cut sets of a dataset: which failures together leave nothing that is shown to hold it.

Failures that do the same to it are one member with several names, so that a set reads as "the room, or the device, or
its volume"; of a volume's drives, so many as it does not stand are one member.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from coverage_audit.judgement.domains import Domain, DomainKind
from coverage_audit.judgement.falling import DriveGroup
from coverage_audit.judgement.stakes import Stake
from coverage_audit.reckoning.cut_sets import minimal_cut_sets
from coverage_audit.reckoning.fault_tree import Event, Gate, Tree, all_of, any_of
from coverage_audit.scenarios.cut_set import CutMember, CutSet, DatasetCuts
from coverage_audit.scenarios.material import DatasetMaterial

MOST_FAILURES: Final = 3
_ORDER: Final = (
    *(DomainKind.DEVICE, DomainKind.VOLUME, DomainKind.SHARED),
    *(DomainKind.ACCOUNT, DomainKind.SITE, DomainKind.DRIVE),
)
"""In which order the names of one member are said: a person thinks of boxes first."""


def cuts_of(dataset: DatasetMaterial, at_most: int = MOST_FAILURES) -> DatasetCuts:
    """Return every smallest set of failures after which nothing is shown to hold the dataset."""
    shown = [stake for stake in dataset.stakes if stake.holds.shown]
    return DatasetCuts(
        dataset=dataset.judged.id,
        shown=bool(shown),
        sets=cut_sets(shown, at_most) if shown else (),
        at_most=at_most,
        not_counted=tuple(stake.address for stake in dataset.stakes if not stake.holds.shown),
    )


def cut_sets(stakes: Sequence[Stake], at_most: int) -> tuple[CutSet, ...]:
    """Return the smallest sets of at most so many failures that lose each of these places."""
    tree = _Tree(stakes)
    found = {tree.told(names) for names in minimal_cut_sets(all_of(*(tree.of(stake) for stake in stakes)), at_most)}
    return tuple(sorted(found, key=_rank))


def _rank(found: CutSet) -> tuple[int, bool, list[str]]:
    return found.order, not found.certain, [member.domains[0].name for member in found.members]


class _Tree:
    """The fault tree of some places: its events are classes of failures that do the same, and single drives."""

    def __init__(self, stakes: Sequence[Stake]) -> None:
        self._stakes = stakes
        self._groups = {group.volume: group for stake in stakes for group in stake.falls.groups}
        self._drives = {
            drive: Event(name=f"drive {drive}") for group in self._groups.values() for drive in group.drives
        }
        self._members: dict[str, tuple[Domain, ...]] = {}
        self._class_of: dict[Domain, Event] = {}
        by_effect: dict[tuple[int, ...], list[Domain]] = {}
        for domain in sorted(
            {domain for stake in stakes for domain in stake.domains()} - self._drives.keys(), key=_said
        ):
            by_effect.setdefault(tuple(_effect(domain, stakes)), []).append(domain)
        for number, domains in enumerate(by_effect.values()):
            event = Event(name=f"class {number}")
            self._members[event.name] = tuple(domains)
            self._class_of |= dict.fromkeys(domains, event)

    def of(self, stake: Stake) -> Tree:
        """Return the gate of one place: any of its failures, too many drives, or the last of its keys."""
        falls = stake.falls
        direct = self._events((*falls.certain, *falls.perhaps))
        groups = [self._of_group(group) for group in falls.groups]
        layers = ([holder for holder in layer if holder.had] for layer in stake.keys)
        keys = [all_of(*(any_of(*self._events(holder.falls)) for holder in layer)) for layer in layers if layer]
        return any_of(*direct, *groups, *keys)

    def told(self, names: Iterable[str]) -> CutSet:
        """Say a set of events as a cut set."""
        wanted = set(names)
        members = [CutMember(domains=domains) for name, domains in self._members.items() if name in wanted]
        for group in self._groups.values():
            lost = sum(self._drives[drive].name in wanted for drive in group.drives)
            if lost:
                members.append(CutMember(domains=group.drives, needed=lost))
        return CutSet(
            members=tuple(sorted(members, key=lambda member: _said(member.domains[0]))),
            certain=self._is_certain(members),
        )

    def _is_certain(self, members: Iterable[CutMember]) -> bool:
        """Whether every place is lost for sure; failures of one member do the same, so that any stands for them."""
        failed = frozenset(domain for member in members for domain in member.domains[: member.needed])
        return all(stake.lost_by(failed) for stake in self._stakes)

    def _of_group(self, group: DriveGroup) -> Gate:
        return Gate(at_least=group.needed, inputs=tuple(self._drives[drive] for drive in group.drives))

    def _events(self, domains: Iterable[Domain]) -> list[Event]:
        found = (self._drives.get(domain) or self._class_of[domain] for domain in domains)
        return sorted(set(found), key=lambda event: event.name)


def _effect(domain: Domain, stakes: Sequence[Stake]) -> Iterator[int]:
    """Yield what one failure does, to each place (2: takes it, 1: may take it) and to each holder of a key."""
    for stake in stakes:
        yield 2 if domain in stake.falls.certain else int(domain in stake.falls.perhaps)
        yield from (int(domain in holder.falls) for layer in stake.keys for holder in layer)


def _said(domain: Domain) -> tuple[int, str]:
    return _ORDER.index(domain.kind), domain.name
