"""What goes into the ledger after an audit, and what comes out of it: plain frozen values.

Nothing of the database leaves this room; whoever records or asks does it in these words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import Address, DatasetId, VolumeKey
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.difference import CopyComparison, TakeUp
from coverage_audit.evidence.facts import PinnedFact
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.shelf import Attached, ShelfTree
from coverage_audit.evidence.surveyed import SurveySummary
from coverage_audit.judgement.accepting import Fate
from coverage_audit.judgement.verdict import Answer as Verdict
from coverage_audit.judgement.verdict import Conclusion, Finding, JudgedEstate
from coverage_audit.judgement.waiving import Waiver
from coverage_audit.ledger.turnover_record import TurnoverRecord

OPEN = frozenset({Verdict.NONCONFORMITY, Verdict.UNVERIFIED})
"""The answers that leave a finding open."""


@dataclass(frozen=True, kw_only=True)
class SeenManifest:
    """A manifest that this audit made. `address` is the declared one: a dated copy's keeps its `{point}`.

    `trusted` says whether its volume was the one pinned; others are kept but never given out as evidence.
    """

    address: Address
    manifest: Manifest
    trusted: bool


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One comparison of this audit: the two manifests' files (either staged now or kept already) and its outcome.

    `copy` is the declared address. `comparison.relation` is the relation's file, in staging or kept already.
    """

    dataset: DatasetId
    copy: Address
    original_file: Path
    copy_file: Path | None
    comparison: CopyComparison


@dataclass(frozen=True, kw_only=True)
class AuditRecord:
    """All that one audit leaves behind; it is recorded whole or not at all.

    `pins` are identities pinned for the first time. `estate_text` is the estate file that was judged. `shelf` are trees
    of shelf drives that this audit saw (their manifests are among `manifests`), `attached` the drives that are plugged
    in, `detached` those that were and are not any more. `lineage` is what the estate says of former names and places,
    `changes` what changed in it since the audit before. `waivers` says what became of those that stood, `turnovers`
    what originals and mirrors lost and rewrote.
    """

    judged: JudgedEstate
    estate_text: str
    answers: tuple[Answer, ...] = ()
    pins: tuple[tuple[VolumeKey, tuple[PinnedFact, ...]], ...] = ()
    manifests: tuple[SeenManifest, ...] = ()
    comparisons: tuple[Compared, ...] = ()
    lineage: Lineage = NO_LINEAGE
    changes: tuple[EstateChange, ...] = ()
    shelf: tuple[ShelfTree, ...] = ()
    attached: tuple[Attached, ...] = ()
    detached: tuple[VolumeKey, ...] = ()
    surveys: tuple[SurveySummary, ...] = ()
    waivers: tuple[Fate, ...] = ()
    turnovers: tuple[TurnoverRecord, ...] = ()


@dataclass(frozen=True, kw_only=True)
class EndedWaiver:
    """A waiver that stands no more: when it ended, and why."""

    waiver: Waiver
    ended: datetime
    why: str


class TransitionKind(StrEnum):
    """How a finding changed between two audits."""

    BEGUN = "begun"
    WORSENED = "worsened"  # from unverified to nonconformity
    EASED = "eased"  # from nonconformity to unverified
    ENDED = "ended"


@dataclass(frozen=True, kw_only=True)
class Transition:
    """One finding's change. `number` is its place in the ledger.

    `answer` is the finding's new answer, None where it is not asked for any more (its subject left the
    estate): that, and a waiver, end a finding without any recovery. `finding` is the finding as it is now,
    or as it was last. `since` is when it began, `at` the audit that saw the change.
    """

    number: int
    kind: TransitionKind
    finding: Finding
    dataset: DatasetId | None
    answer: Verdict | None
    since: datetime
    at: datetime

    @property
    def recovered(self) -> bool:
        """Whether it ended because what it asks for is observed again."""
        return self.kind is TransitionKind.ENDED and self.answer in {Verdict.CONFORMITY, Verdict.OBSERVATION}


@dataclass(frozen=True, kw_only=True)
class EstateEvent:
    """A change of the estate as the ledger keeps it; `at` is when it was recorded, by an audit or by an acceptance."""

    at: datetime
    change: EstateChange


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """What recording an audit gave: the transitions, since when each open finding is open, the files moved.

    `events` is what changed in the estate since the audit before, `audit` the number of the audit.
    """

    transitions: tuple[Transition, ...]
    since: Mapping[str, datetime]
    moved: Mapping[Path, Path] = field(default_factory=dict)
    events: tuple[EstateEvent, ...] = ()
    audit: int | None = None


@dataclass(frozen=True, kw_only=True)
class StoredFinding:
    """A finding as the last audit that answered it left it.

    `at` is that audit's start, `since` when it began if it is open, `conclusion` that of its dataset
    (of the estate for a finding of the estate itself). `current` is False once it is not asked for any more.
    """

    finding: Finding
    dataset: DatasetId | None
    at: datetime
    since: datetime | None
    conclusion: Conclusion
    current: bool = True


@dataclass(frozen=True, kw_only=True)
class EarlierRecord:
    """What is still known of the last comparison of a pair; the fields are those of comparison's `Earlier`.

    `at` is when the pair was last compared: that audit's start, or the start of the original's listing
    where that is later, so that the listing it rests on never lies after it. `originals` are the complete
    manifests of the original still kept, by when their listing started, oldest first. `first_at` is the first
    comparison of the pair. `accepted`: a person has accepted since what the copy's volume shows.
    """

    at: datetime
    originals: tuple[tuple[datetime, Path], ...]
    copy_manifest: Path | None
    relation: Path | None
    take_up: TakeUp
    first_at: datetime
    accepted: bool = False
