"""Two boxes made of values, whose files are listed, compared and read without any process: content, times, failures.

`Boxes.night` does what an audit does between comparing and judging. To read a file takes `seconds` of its device.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from coverage_audit.audits.casing import CaseOutcome
from coverage_audit.audits.comparing import CopyOutcome
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.verifying import NO_WISH, Wish, with_content
from coverage_audit.comparison.carry import carry
from coverage_audit.comparison.compare import match
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.criteria import Verify
from coverage_audit.estate.model import Device, Policy
from coverage_audit.evidence.collected import SecondLook
from coverage_audit.evidence.content import HashedFile, HashedFiles, NotHashed, Wanted
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.manifest import Manifest, Row
from coverage_audit.evidence.own import OwnPart, OwnPlace, OwnPlaces
from coverage_audit.evidence.verified import Verified
from coverage_audit.judgement.case import DatasetCase, OriginalEvidence
from coverage_audit.judgement.content_shown import USUAL
from coverage_audit.judgement.judge import judge
from coverage_audit.judgement.verdict import Answer, Finding, JudgedDataset
from coverage_audit.ledger.opening import exclusive, open_ledger
from coverage_audit.ledger.record import Compared
from tests.builders.cases import a_case, a_copy, a_place
from tests.builders.manifests import MEMORY, MTIME, a_manifest, a_row
from tests.builders.station import CURLEW, HERON, KESTREL, LIMITS, POLICY, RECORDINGS, STARTED, an_estate

SIZE = 64


@dataclass(frozen=True, kw_only=True)
class File:
    """A file of a box; one that is not `readable` cannot be read, whatever it lists."""

    content: bytes
    mtime_ns: int = MTIME
    ctime_ns: int | None = MTIME + 5
    readable: bool = True

    def edited(self, content: bytes, at: int = 10**9) -> File:
        """Return it written to as programs do: with another time."""
        return replace(self, content=content, mtime_ns=self.mtime_ns + at, ctime_ns=(self.ctime_ns or 0) + at)

    def rewritten(self, content: bytes) -> File:
        """Return it written to, with size and time put back."""
        return replace(self, content=content, ctime_ns=(self.ctime_ns or 0) + 7)

    def decayed(self) -> File:
        """Return it with one bit flipped by its drive: nothing of it changed but its content."""
        return replace(self, content=bytes([self.content[0] ^ 1]) + self.content[1:])


Disk = dict[bytes, File]


def recordings(files: int) -> Disk:
    """So many files of 64 bytes, each of another content."""
    return {b"takes/%05d.flac" % n: File(content=hashlib.sha512(b"%d" % n).digest()) for n in range(files)}


@dataclass(kw_only=True)
class Boxes:
    """The original's disk and a copy's, read within `limits`. `asked` is what was read, by device and path.

    `fails` says why a device cannot be read, `endless` files take more than a night, `lacks` is what listings lack.
    `old_gates` list ctimes, and read files without them. What is `away` is known by its last listing alone.
    `before_reading` is called with the device before anything of it is read: what happens between listing and reading.
    """

    parts: Parts
    disks: dict[str, Disk]
    policy: Policy = field(default_factory=lambda: replace(POLICY, copies=2, media=None, offsite=None, verify=USUAL))
    seconds: float = 0.001
    time: timedelta = timedelta(minutes=30)
    rate: int = 100_000_000
    now: datetime = STARTED
    asked: list[tuple[str, bytes]] = field(default_factory=list)
    fails: dict[str, Gap] = field(default_factory=dict)
    endless: set[bytes] = field(default_factory=set)
    old_gates: set[str] = field(default_factory=set)
    lacks: dict[str, frozenset[str]] = field(default_factory=dict)
    away: set[str] = field(default_factory=set)
    before_reading: Callable[[str], None] = lambda _: None
    last: JudgedDataset | None = None
    _kept: dict[str, Manifest] = field(default_factory=dict)

    @property
    def original(self) -> Disk:
        return self.disks["kestrel"]

    @property
    def copy(self) -> Disk:
        return self.disks["heron"]

    def night(self, wish: Wish = NO_WISH, *, later: timedelta = timedelta(days=1)) -> Verified:
        """List, compare, read and judge; return what is known of the (first) copy's content. The clock goes on."""
        copies = [device for device in (HERON, CURLEW) if device.id in self.disks]
        case = self._case(copies)
        estate = an_estate(KESTREL, *copies, datasets=(case.dataset,), policies=(self.policy,))
        estate = replace(estate, limits=replace(LIMITS, content_time=self.time, content_rate=self.rate))
        outcome = CaseOutcome(case=case, outcomes=tuple(self._outcome(case, copy.id) for copy in copies))
        copies_seen = tuple(one.evidence for one in outcome.outcomes)
        outcome = replace(outcome, case=replace(outcome.case, copies=copies_seen))
        parts = replace(self.parts, hash_files=self._hash_files, look_again=self._look_again, clock=lambda: self.now)
        started = self.now
        self.now += timedelta(minutes=5)
        (read,) = with_content(estate, [outcome], parts, started=started, wish=wish)
        self.last = judge(
            estate, [read.case], identities=(), gaps=(), started=started, finished=started + timedelta(minutes=30)
        ).datasets[0]
        self.now = started + later
        found = read.case.copies[0].verified
        assert found is not None
        return found

    @property
    def finding(self) -> Finding:
        """What the rule of content answered of the (first) copy."""
        assert self.last is not None
        return next(f for f in self.last.findings if f.rule == "content" and "@heron" in f.subject)

    def answer(self) -> Answer:
        """Its answer."""
        return self.finding.answer

    @property
    def about_original(self) -> Finding | None:
        """What it answered of the original (None: nothing)."""
        assert self.last is not None
        return next((f for f in self.last.findings if f.rule == "content" and "@kestrel" in f.subject), None)

    def _case(self, copies: Sequence[Device]) -> DatasetCase:
        tree = self._listed("kestrel")
        original = OriginalEvidence(place=a_place(KESTREL), tree=tree)
        declared = {copy.address.volume.device: copy for copy in RECORDINGS.copies}
        return a_case(*(a_copy(one, declared[one.id]) for one in copies), original=original, policy=self.policy)

    def _outcome(self, case: DatasetCase, device: str) -> CopyOutcome:
        (bare,) = (copy for copy in case.copies if copy.place.device.id == device)
        original, copy = case.original.tree, self._listed(device)
        assert not isinstance(original, Gap)
        matched = match(original, copy, leave_out=(), work=self.parts.work)
        found = carry(matched, None, now=self.now, look=None, max_age=POLICY.max_age, work=self.parts.work)
        evidence = replace(bare, comparison=found, tree_at=self.now)
        compared = Compared(
            dataset=case.dataset.id,
            copy=bare.copy.address,
            original_file=original.file,
            copy_file=copy.file,
            comparison=found,
        )
        return CopyOutcome(evidence=evidence, compared=compared)

    def _listed(self, device: str) -> Manifest:
        if device in self.away:
            return self._kept[device]
        rows: list[Row] = [
            a_row(path, size=len(f.content), mtime_ns=f.mtime_ns, ctime_ns=f.ctime_ns)
            for path, f in self.disks[device].items()
        ]
        lacks, work, kept = self.lacks.get(device, frozenset()), self.parts.work, self._kept
        kept[device] = a_manifest(work.folder, rows, seed=work.seed, started=self.now, lacks=lacks)
        return kept[device]

    def _hash_files(
        self, device: Device, root: str, wanted: Sequence[Wanted], *, algorithm: str, budget: timedelta, rate: int
    ) -> HashedFiles | Gap:
        del root, rate
        if device.id in self.fails:
            return self.fails[device.id]
        self.before_reading(device.id)
        within = round(budget.total_seconds() / self.seconds)
        within = min(within, next((at for at, one in enumerate(wanted) if one.path in self.endless), within))
        hashed, not_hashed = list[HashedFile](), list[NotHashed]()
        for one in wanted[:within]:
            self.asked.append((device.id, one.path))
            file = self.disks[device.id].get(one.path)
            if file is None or not file.readable or (len(file.content), file.mtime_ns) != (one.size, one.mtime_ns):
                not_hashed.append(NotHashed(path=one.path, why="it changed, or cannot be read"))
                continue
            hashed.append(
                HashedFile(
                    path=one.path,
                    size=one.size,
                    mtime_ns=one.mtime_ns,
                    ctime_ns=None if device.id in self.old_gates else file.ctime_ns,
                    digest=hashlib.new(algorithm, file.content).digest(),
                )
            )
        return HashedFiles(
            algorithm=algorithm,
            hashed=tuple(hashed),
            not_hashed=tuple(not_hashed),
            left=tuple(wanted[within:]),
            seconds=budget.total_seconds() if len(wanted) > within else len(wanted) * self.seconds,
            bytes=sum(one.size for one in hashed),
        )

    def _look_again(self, device: Device, root: str, paths: Sequence[bytes]) -> tuple[SecondLook, ...]:
        del root
        disk = self.disks[device.id]
        return tuple(
            SecondLook(
                path=path,
                size=len(disk[path].content) if path in disk else None,
                mtime_ns=disk[path].mtime_ns if path in disk else None,
                ctime_ns=None,
                birth_ns=None,
            )
            for path in paths
        )


@contextmanager
def boxes(folder: Path, files: int, **values: Any) -> Iterator[Boxes]:
    """Yield kestrel with so many recordings, and heron with a mirror of them; all is remembered below `folder`."""
    state, work = folder / "state", folder / "work"
    work.mkdir(parents=True, exist_ok=True)
    with exclusive(state), open_ledger(state) as ledger:
        made: dict[str, Any] = {
            "usable_digests": lambda _: ("sha256", "md5"),
            "ledger": ledger,
            "work": Workspace(folder=work, memory=MEMORY, seed=ledger.seed),
            "own": OwnPlaces(places=(), database=None, dump=OwnPlace(part=OwnPart.LEDGER, path="/nowhere/dump")),
        }
        parts = Parts(**{part.name: made.get(part.name, _never) for part in fields(Parts)})
        disk = recordings(files)
        yield Boxes(parts=parts, disks={"kestrel": dict(disk), "heron": dict(disk)}, **values)


def with_terms(verify: Verify, **values: Any) -> Policy:
    """A policy of two copies with this criterion."""
    return replace(POLICY, copies=2, media=None, offsite=None, verify=verify, **values)


def _never(*_: Any, **__: Any) -> Any:
    raise AssertionError("nothing asks a box here")
