"""The drill: choose files of a copy, read them back over its own way, hold them against the originals, record it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from coverage_audit.audits.drill_choice import Choice, choose
from coverage_audit.audits.drill_fates import Fates, Originals, fates_of
from coverage_audit.audits.drill_place import ReadingPlace, carried_to, reading_place, still_the_same
from coverage_audit.audits.drill_wish import DrillWish, copies_to_drill, dataset_of
from coverage_audit.audits.parts import Parts
from coverage_audit.errors import CollectionError, UsageError
from coverage_audit.estate.model import POINT, Address, Copy, Dataset, Estate
from coverage_audit.evidence.content import ALGORITHMS, HashedFiles, StoredDigest, Wanted
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.drilling import Drill, DrillOutcome, Fate, FilesBack, Incident, Outstanding, Shown
from coverage_audit.evidence.facts import Gap, GapKind

_MOST_SHOWN: Final = 200
"""So many restored files are kept with their figures, by which later audits see whether the copy was rewritten."""

MOST_NAMED: Final = 500
"""So many files that a drill did not show are kept by name; of the others only their number is."""


@dataclass(frozen=True, kw_only=True)
class Drilled:
    """A drill that was made and recorded; `passed_over` says which copies could not be read, each with why.

    `held` is how many files the copy was found to hold. `is_encrypted`: the copy is, so that what came back shows no
    more than that its bytes do.
    """

    drill: Drill
    held: int
    passed_over: tuple[str, ...] = ()
    is_encrypted: bool = False


def run_drill(estate: Estate, wish: DrillWish, parts: Parts) -> Drilled:
    """Make a drill and record it.

    Raises UsageError for an unknown dataset, copy or path; CollectionError where no copy could be read, or where the
    scratch disk failed before damage was found: nothing is recorded then, as it says nothing of the copy.
    """
    dataset = dataset_of(estate, wish.dataset)
    scratch = wish.scratch or parts.work.folder
    if not scratch.is_dir():
        raise UsageError(f"--scratch: {scratch} is no folder")
    began = parts.clock()
    passed: list[str] = []
    copies = copies_to_drill(estate, dataset, wish, parts)
    for copy in copies:
        try:
            choice = choose(estate, dataset, copy, count=wish.count, paths=wish.paths, parts=parts)
            place = reading_place(estate, copy.address.volume, parts)
        except CollectionError as error:
            if len(copies) == 1:
                raise
            passed.append(str(error))
            continue
        drilling = _Drilling(estate=estate, dataset=dataset, copy=copy, choice=choice, place=place, parts=parts)
        drill = drilling.drill(scratch, began)
        parts.ledger.drills.record(drill)
        encrypted = copy.encrypted or place.volume.encrypted
        return Drilled(drill=drill, held=choice.held, passed_over=tuple(passed), is_encrypted=encrypted)
    raise CollectionError("; ".join(passed) or f"{dataset.id} has no copy that files can be read back from")


@dataclass(frozen=True, kw_only=True)
class _Drilling:
    """One drill of one copy: the files chosen, and where the copy can be read now."""

    estate: Estate
    dataset: Dataset
    copy: Copy
    choice: Choice
    place: ReadingPlace
    parts: Parts

    def drill(self, scratch: Path, began: datetime) -> Drill:
        """Read the files back and tell what became of each. Raises CollectionError where that says nothing."""
        stored, original = self._stored(), self._original_place()
        algorithm = self._algorithm(original)
        listed = self.choice.compared.copy.origin.address
        back = self.parts.read_back(
            carried_to(self.place),
            self.place.root(listed),
            [_wanted(one.there, one.copy.size, one.copy.mtime_ns) for one in self.choice.files.values()],
            algorithms=_each_once(algorithm, *(one.algorithm for found in stored.values() for one in found)),
            scratch=scratch,
        )
        if isinstance(back, Gap):
            raise CollectionError(f"{self.copy.address}: nothing was read back: {back}")
        back = self.choice.as_named(back)
        now = self._originals_now(back, original, algorithm)
        if not still_the_same(self.estate, self.place, self.parts):
            said = "another volume was mounted there while it was read: nothing is recorded"
            raise CollectionError(f"{self.copy.address}: {said}")
        fates = fates_of(self.choice, back, Originals(now=now, stored=stored))
        outcome = _outcome(self.choice, back, fates)
        if outcome is DrillOutcome.INCOMPLETE and back.stopped is not None and back.stopped.kind is GapKind.STORAGE:
            said = f"nothing is recorded, as that says nothing of {self.copy.address}"
            raise CollectionError(f"{back.stopped.detail}: {said}")
        return Drill(
            dataset=self.dataset.id,
            copy=self.copy.address,
            at=began,
            outcome=outcome,
            point=_point(self.copy, listed),
            chosen=len(self.choice.files) + len(self.choice.missing),
            restored=Tally(files=len(fates.restored), bytes=sum(fates.restored.values())),
            damaged=fates.damaged,
            unread=fates.count(Fate.UNREAD),
            changed=fates.count(Fate.CHANGED),
            unheld=fates.count(Fate.UNHELD),
            by_originals=fates.by_originals,
            named=self.choice.named + len(self.choice.missing),
            again=len(self.choice.old),
            drawn=len(self.choice.drawn),
            drawn_back=len(self.choice.drawn & fates.restored.keys()),
            held=self.choice.held,
            shown=_shown(self.choice, fates),
            outstanding=_outstanding(self.choice, fates),
            read=back.read,
            seconds=back.seconds,
            way=back.way,
            incidents=_worth_keeping(fates.incidents),
        )

    def _originals_now(self, back: FilesBack, place: ReadingPlace | Gap, algorithm: str) -> HashedFiles | Gap:
        if isinstance(place, Gap):
            return place
        came = {one.path for one in back.back if one.why is None}
        chosen = [(path, one.original) for path, one in self.choice.files.items() if path in came]
        return self.parts.hash_files(
            carried_to(place),
            place.root(self.dataset.original),
            [_wanted(path, one.size, one.mtime_ns) for path, one in chosen],
            algorithm=algorithm,
            budget=self.estate.limits.device_time,
            rate=self.estate.limits.content_rate,
        )

    def _original_place(self) -> ReadingPlace | Gap:
        """Return where the originals can be read now: what lies on another volume than the pinned one is none."""
        original = self.dataset.original
        try:
            return reading_place(self.estate, original.volume, self.parts)
        except CollectionError as error:
            at = self.parts.clock()
            return Gap(subject=str(original), kind=GapKind.UNREACHABLE, detail=str(error), at=at)

    def _algorithm(self, place: ReadingPlace | Gap) -> str:
        usable = ALGORITHMS if isinstance(place, Gap) else self.parts.usable_digests(carried_to(place))
        return ALGORITHMS[0] if isinstance(usable, Gap) or not usable else usable[0]

    def _stored(self) -> dict[bytes, tuple[StoredDigest, ...]]:
        """Return what is stored of the originals' content, by path."""
        original = self.dataset.original
        formerly = self.estate.device(original.volume.device).formerly
        found: dict[bytes, tuple[StoredDigest, ...]] = {}
        for algorithm in ALGORITHMS:
            known = self.parts.ledger.digests.lookup(original, algorithm, self.choice.files, formerly)
            for path, digest in known.items():
                found[path] = (*found.get(path, ()), digest)
        return found


def _outcome(choice: Choice, back: FilesBack, fates: Fates) -> DrillOutcome:
    """Say what a drill shows: that a copy can be read back only where nothing failed, and enough was shown to be right.

    Enough is half of the files, one of them with a content: files that are empty, or that nothing is known of, show
    nothing. Of what was found damaged before nothing may be outstanding any more.
    """
    if fates.damaged.files:
        return DrillOutcome.DAMAGED
    whole = not (fates.count(Fate.UNREAD) or back.left or back.stopped)
    enough = 2 * len(fates.restored) >= len(choice.files) and sum(fates.restored.values()) > 0
    mended = not _outstanding(choice, fates)
    return DrillOutcome.RESTORED if whole and enough and mended else DrillOutcome.INCOMPLETE


def _outstanding(choice: Choice, fates: Fates) -> tuple[Outstanding, ...]:
    """Return what is damaged still: all that was before and was not read back right, and what was found now."""
    left = {one.path: one for one in choice.outstanding if one.path not in fates.restored}
    for one in fates.incidents:
        if one.fate is Fate.DAMAGED:
            listed = choice.files[one.path].original
            left[one.path] = Outstanding(path=one.path, size=listed.size, mtime_ns=listed.mtime_ns)
    return tuple(left.values())


def _shown(choice: Choice, fates: Fates) -> tuple[Shown, ...]:
    """Return the drawn files that were restored, in their random order, with what the copy's listing shows of them."""
    found = [one for path, one in choice.files.items() if path in choice.drawn and path in fates.restored]
    return tuple(
        Shown(path=one.path, size=one.copy.size, mtime_ns=one.copy.mtime_ns, ctime_ns=one.copy.ctime_ns)
        for one in found[:_MOST_SHOWN]
    )


def _worth_keeping(incidents: Sequence[Incident]) -> tuple[Incident, ...]:
    """Return all damaged files, which the next drill reads again, and the first of the others."""
    damaged = [one for one in incidents if one.fate is Fate.DAMAGED]
    return (*damaged, *[one for one in incidents if one.fate is not Fate.DAMAGED][:MOST_NAMED])


def _wanted(path: bytes, size: int, mtime_ns: int) -> Wanted:
    return Wanted(path=path, size=size, mtime_ns=mtime_ns)


def _each_once(*names: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def _point(copy: Copy, listed: Address) -> str | None:
    """Return the name of the recovery point whose tree was listed."""
    if not copy.address.has_point:
        return None
    before, _, after = copy.address.path.partition(POINT)
    return listed.path.removeprefix(before).removesuffix(after)
