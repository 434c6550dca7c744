"""Small estates of real folders in one process: what boxes would show is invented, walks and reading are real.

Each device is its own machine with its own drives, as boxes of a real estate are. A retirement takes a tenth of the
time that it takes with real workers, so that a thousand can be tried.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coverage_audit.audits.parts import Parts
from coverage_audit.collectors.real_places import require_on_its_volume
from coverage_audit.collectors.transport import TransportError
from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Address, Device, Volume
from coverage_audit.evidence.collected import Answer, Question, SecondLook, SeenPoints, SeenTree
from coverage_audit.evidence.content import HashedFile, HashedFiles, NotHashed, Wanted
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, PointList, VolumeFacts
from coverage_audit.evidence.manifest import Blind, Kind, Manifest, Row
from coverage_audit.evidence.own import OwnPart, OwnPlace, OwnPlaces
from coverage_audit.ledger.ledger import Ledger
from tests.builders.manifests import a_manifest


@dataclass(kw_only=True)
class InProcess:
    """An audit's collaborators without processes. `meddle` is called before each walk and each reading."""

    ledger: Ledger
    folder: Path
    meddle: Callable[[str], None] = lambda _when: None
    read: list[bytes] = field(default_factory=list)

    def parts(self) -> Parts:
        """Hand them over as an audit takes them."""
        return Parts(
            gather=self.gather,
            look_again=self.look_again,
            hash_files=self.hash_files,
            usable_digests=lambda _device: ("sha256",),
            read_back=nothing_back,
            ledger=self.ledger,
            work=Workspace(folder=self.folder, memory=64_000_000, seed=self.ledger.seed),
            own=OwnPlaces(places=(), database=None, dump=OwnPlace(part=OwnPart.LEDGER, path="/nowhere/dump")),
            clock=now,
        )

    def gather(self, questions: Sequence[Question]) -> tuple[Answer, ...]:
        """Answer each question by a look at the folders."""
        self.meddle("walk")
        return tuple(self._answer(question) for question in questions)

    def look_again(self, device: Device, root: str, paths: Sequence[bytes]) -> tuple[SecondLook, ...]:
        """Look at paths once more."""
        del device
        looks = []
        for path in paths:
            try:
                seen = os.lstat(os.path.join(os.fsencode(root), path))  # noqa: PTH118 - names are bytes
            except OSError:
                looks.append(SecondLook(path=path, size=None, mtime_ns=None, ctime_ns=None, birth_ns=None))
                continue
            looks.append(
                SecondLook(
                    path=path, size=seen.st_size, mtime_ns=seen.st_mtime_ns, ctime_ns=seen.st_ctime_ns, birth_ns=None
                )
            )
        return tuple(looks)

    def hash_files(
        self, device: Device, root: str, wanted: Sequence[Wanted], *, algorithm: str, budget: timedelta, rate: int
    ) -> HashedFiles | Gap:
        """Read files as they are now."""
        del device, budget, rate
        self.meddle("read")
        hashed, without, octets = list[HashedFile](), list[NotHashed](), 0
        for one in wanted:
            file = os.path.join(os.fsencode(root), one.path)  # noqa: PTH118 - names are bytes
            try:
                seen = os.lstat(file)
                with open(file, "rb") as content:  # noqa: PTH123 - names are bytes
                    read = content.read()
            except OSError as error:
                without.append(NotHashed(path=one.path, why=str(error)))
                continue
            self.read.append(one.path)
            octets += len(read)
            if (seen.st_size, seen.st_mtime_ns) != (one.size, one.mtime_ns):
                without.append(NotHashed(path=one.path, why="it changed since it was listed"))
                continue
            hashed.append(
                HashedFile(
                    path=one.path,
                    size=seen.st_size,
                    mtime_ns=seen.st_mtime_ns,
                    ctime_ns=seen.st_ctime_ns,
                    digest=hashlib.new(algorithm, read, usedforsecurity=False).digest(),
                )
            )
        return HashedFiles(
            algorithm=algorithm, hashed=tuple(hashed), not_hashed=tuple(without), seconds=0.001, bytes=octets
        )

    def _answer(self, question: Question) -> Answer:
        at = now()
        return Answer(
            device=question.device,
            at=at,
            facts=DeviceFacts(
                device=question.device.id,
                at=at,
                over="local",
                machine_id=f"machine of {question.device.id}",
                boot_id=f"boot of {question.device.id}",
                is_guest=False,
                clock_offset=timedelta(0),
                clock_uncertainty=timedelta(0),
            ),
            volumes=tuple(_facts(volume, at) for volume in question.volumes),
            trees=tuple(self._tree(question, address) for address in question.trees),
            points=tuple(
                SeenPoints(address=copy.address, outcome=PointList(address=copy.address, at=at, points=()))
                for copy in question.pointed
            ),
            surveyed=tuple(self._tree(question, a) for a in question.surveyed if a not in question.trees),
        )

    def _tree(self, question: Question, address: Address) -> SeenTree:
        volume = next(volume for volume in question.volumes if volume.key == address.volume)
        root = f"{volume.path}/{address.path}".rstrip("/")
        try:
            require_on_its_volume(address, _real(root), {one.key: _real(one.path) for one in question.volumes})
        except TransportError as error:
            return SeenTree(
                address=address, outcome=Gap(subject=str(address), kind=error.kind, detail=error.detail, at=now())
            )
        return SeenTree(address=address, outcome=walked(self.folder, root, address, self.ledger.seed))


def _real(path: str) -> bytes:
    return os.fsencode(os.path.realpath(path))


def now() -> datetime:
    """The real moment, in UTC."""
    return datetime.now(UTC)  # noqa: TID251 - a test's clock


def walked(folder: Path, root: str, address: Address, seed: bytes) -> Manifest | Gap:
    """List a folder for real."""
    if not Path(root).is_dir():
        return Gap(subject=str(address), kind=GapKind.MISSING, detail=root, at=now())
    rows, blind = list[Row](), list[Blind]()
    base = os.fsencode(root)
    for place, folders, files in os.walk(base, onerror=lambda error: blind.append(_blind(base, error))):
        for name in (*folders, *files):
            full = os.path.join(place, name)  # noqa: PTH118 - names are bytes
            rows.append(_row(full, os.path.relpath(full, base)))
    started = now()
    return a_manifest(folder, rows, blind=blind, seed=seed, address=address, root=root, started=started)


def _blind(base: bytes, error: OSError) -> Blind:
    return Blind(path=os.path.relpath(os.fsencode(error.filename), base), why=error.strerror or "unreadable")


def _row(full: bytes, path: bytes) -> Row:
    seen = os.lstat(full)
    kinds = {stat.S_IFREG: Kind.FILE, stat.S_IFDIR: Kind.FOLDER, stat.S_IFLNK: Kind.LINK}
    kind = kinds.get(stat.S_IFMT(seen.st_mode), Kind.OTHER)
    plain = kind is Kind.FILE
    return Row(
        path=path,
        kind=kind,
        size=seen.st_size if plain else 0,
        mtime_ns=seen.st_mtime_ns,
        ctime_ns=seen.st_ctime_ns,
        target=os.readlink(full) if kind is Kind.LINK else None,  # noqa: PTH115 - names are bytes
        blocks=seen.st_blocks if plain else None,
        links=seen.st_nlink if plain else None,
    )


def _facts(volume: Volume, at: datetime) -> VolumeFacts | Gap:
    if not Path(volume.path).is_dir():
        return Gap(subject=str(volume.key), kind=GapKind.MISSING, detail=volume.path, at=at)
    name = str(volume.key)
    return VolumeFacts(
        volume=volume.key,
        at=at,
        path=volume.path,
        filesystem_type="ext4",
        filesystem_uuid=f"uuid of {name}",
        mount_source=f"/dev/{name}",
        mount_target=volume.path,
        fs_root="/",
        device_number=f"8:{int(hashlib.sha256(name.encode()).hexdigest()[:4], 16)}",
        drives=frozenset({f"drive of {name}"}),
        on_root=False,
        read_only=False,
        rotational=volume.medium.value == "hdd",
        capacity=10**12,
        free=5 * 10**11,
        inodes=10**8,
        inodes_free=10**7,
    )


def nothing_back(device: Device, root: str, wanted: Sequence[Wanted], **_more: object) -> Gap:
    """No retirement reads files back."""
    del root, wanted
    return Gap(subject=str(device.id), kind=GapKind.NOT_YET, detail="nobody asks for that", at=now())
