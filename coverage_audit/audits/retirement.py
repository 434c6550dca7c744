"""What a retirement found: the verdict with all that it rests on, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from coverage_audit.audits.retiring_memory import SpoiltFile
from coverage_audit.audits.retiring_wish import NotKeptWord
from coverage_audit.estate.model import Address, DatasetId, DeviceId, Medium, VolumeKey
from coverage_audit.evidence.elsewhere import Elsewhere
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.scenarios.drive_out import DriveOut
from coverage_audit.scenarios.retirement import Break, Verdict


@dataclass(frozen=True, kw_only=True)
class NotObserved:
    """Something that was not looked at, why, and how to mend that. `blocks`: for its sake it cannot be clear."""

    what: str
    why: str
    mend: str
    blocks: bool = True


@dataclass(frozen=True, kw_only=True)
class WalkedPlace:
    """A volume as this audit walked it: when, how, what it holds. `stays`: it is one that is left."""

    volume: VolumeKey
    medium: Medium
    at: datetime
    how: str
    files: int
    bytes: int
    stays: bool


@dataclass(frozen=True, kw_only=True)
class Reading:
    """How much content was read for this, and what is left of it.

    `remembered` digests of earlier readings stood. `spoilt` has another content than before, under the same figures.
    """

    files: int = 0
    bytes: int = 0
    seconds: float = 0.0
    remembered: int = 0
    notes: tuple[str, ...] = ()
    left: timedelta | None = None
    spoilt: tuple[SpoiltFile, ...] = ()


@dataclass(frozen=True, kw_only=True)
class AfterDataset:
    """A dataset as it is judged without what leaves, and before. `original` is then worked on."""

    dataset: DatasetId
    touched: bool
    before: Conclusion
    after: Conclusion | None
    original: Address | None
    moved: bool


@dataclass(frozen=True, kw_only=True)
class Retirement:
    """A retirement, judged. `changed` are paths that changed while it was audited.

    `steps` are what to do, most at stake first. `filesystems_not_kept` are the owner's words for what was not looked
    at, `drives` those that were asked about alone, each with its volume while it is out.
    """

    verdict: Verdict
    estate: str
    asked: tuple[str, ...]
    devices: tuple[DeviceId, ...]
    volumes: tuple[VolumeKey, ...]
    falls: tuple[str, ...]
    started: datetime
    finished: datetime
    rehearsal: bool
    elsewhere: Elsewhere
    breaks: tuple[Break, ...]
    not_observed: tuple[NotObserved, ...]
    changed: tuple[tuple[VolumeKey, bytes], ...]
    datasets: tuple[AfterDataset, ...]
    walked: tuple[WalkedPlace, ...]
    reading: Reading
    steps: tuple[str, ...]
    filesystems_not_kept: tuple[NotKeptWord, ...] = ()
    drives: tuple[DriveOut, ...] = ()
