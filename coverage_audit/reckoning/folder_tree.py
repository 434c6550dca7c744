"""The folders of a survey as a tree of figures, the largest first, and the folders that nobody claims."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.surveyed import Cell, Holder, Share, SurveySummary, Unclaimed, VolumeSurvey

_FOLDERS_KEPT = 20
_BLIND_KEPT = 20


@dataclass
class Branch:
    """A folder: what each holder has in it and below (`held`), and directly in it (`loose`); largest child first."""

    folder: bytes
    held: dict[Holder, Tally] = field(default_factory=dict)
    loose: dict[Holder, Tally] = field(default_factory=dict)
    children: list[Branch] = field(default_factory=list)

    def of(self, *shares: Share) -> Tally:
        """Return how much in it and below has one of these shares."""
        return _sum(tally for holder, tally in self.held.items() if holder.share in shares)

    @property
    def total(self) -> Tally:
        """All that lies in it and below."""
        return _sum(self.held.values())


def tree_of(cells: Iterable[Cell]) -> Branch:
    """Return the tree that the cells add up to; its root is the volume's own folder."""
    root = Branch(b"")
    known = {b"": root}
    for cell in cells:
        _add(_branch(cell.folder, known).loose, cell)
        for above in _lineage(cell.folder):
            _add(known[above].held, cell)
    for branch in known.values():
        branch.children.sort(key=lambda child: (-child.total.bytes, -child.total.files, child.folder))
    return root


def unclaimed_in(tree: Branch) -> tuple[Unclaimed, ...]:
    """Return the topmost folders in which nothing is claimed, and the loose files beside claimed folders.

    They are disjoint, add up to all that is unclaimed, and the largest comes first. The root is never one folder.
    """
    found: list[Unclaimed] = []
    waiting = [tree]
    while waiting:
        branch = waiting.pop()
        lying = branch.of(Share.UNCLAIMED)
        if not lying.files:
            continue
        if branch.folder and not branch.of(Share.CLAIMED).files:
            found.append(Unclaimed(folder=branch.folder, tally=lying))
            continue
        loose = _sum(tally for holder, tally in branch.loose.items() if holder.share is Share.UNCLAIMED)
        if loose.files:
            found.append(Unclaimed(folder=branch.folder, tally=loose, loose=True))
        waiting += branch.children
    return tuple(sorted(found, key=lambda one: (-one.tally.bytes, -one.tally.files, one.folder)))


def summary_of(survey: VolumeSurvey) -> SurveySummary:
    """Return what is remembered of a survey."""
    return SurveySummary(
        volume=survey.volume,
        at=survey.at,
        declared=survey.declared,
        claimed=survey.of(Share.CLAIMED),
        not_kept=survey.of(Share.NOT_KEPT),
        litter=survey.of(Share.LITTER),
        unclaimed=survey.of(Share.UNCLAIMED),
        largest=unclaimed_in(tree_of(survey.cells))[:_FOLDERS_KEPT],
        blind=survey.blind[:_BLIND_KEPT],
        blind_places=len(survey.blind),
    )


def _branch(folder: bytes, known: dict[bytes, Branch]) -> Branch:
    above = known[b""]
    for path in _lineage(folder):
        if path not in known:
            known[path] = Branch(path)
            above.children.append(known[path])
        above = known[path]
    return above


def _lineage(folder: bytes) -> Iterator[bytes]:
    """Give a folder's ancestors from the root on, and itself."""
    yield b""
    parts = folder.split(b"/") if folder else []
    for end in range(1, len(parts) + 1):
        yield b"/".join(parts[:end])


def _add(held: dict[Holder, Tally], cell: Cell) -> None:
    held[cell.holder] = held.get(cell.holder, Tally()) + cell.tally


def _sum(tallies: Iterable[Tally]) -> Tally:
    found = list(tallies)
    return Tally(files=sum(one.files for one in found), bytes=sum(one.bytes for one in found))
