"""What is concluded: standings of copies, findings of rules, conclusions of datasets and of the estate."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from coverage_audit.estate.model import Address, DatasetId, Proof
from coverage_audit.evidence.difference import CopyComparison, Exposure, Tally
from coverage_audit.evidence.facts import Gap, IdentityCheck
from coverage_audit.judgement.case import CopyEvidence, OriginalEvidence
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.reckoning.leaving import Going


class Standing(StrEnum):
    """What the evidence says of one copy."""

    PROVEN = "proven"
    STALE = "stale"
    INCOMPLETE = "incomplete"
    DAMAGED = "damaged"
    UNVERIFIED = "unverified"


class Ground(StrEnum):
    """What decided a copy's standing, so that the rule which answers for it can say so."""

    IDENTITY = "identity"
    CONTENT = "content"
    HOLE = "hole"
    AGE = "age"
    EVIDENCE = "evidence"
    CLOCK = "clock"
    KEY = "key"


class Answer(StrEnum):
    """One rule's answer on one subject."""

    CONFORMITY = "conformity"
    NONCONFORMITY = "nonconformity"
    UNVERIFIED = "unverified"
    OBSERVATION = "observation"
    WAIVED = "waived"


class Conclusion(StrEnum):
    """The outcome for a dataset or the estate."""

    CONFORMING = "conforming"
    NONCONFORMING = "nonconforming"
    UNVERIFIED = "unverified"


@dataclass(frozen=True, kw_only=True)
class EvidenceItem:
    """One piece of evidence in words: what was observed, where, when and how."""

    what: str
    where: str
    at: datetime | None
    how: str


@dataclass(frozen=True, kw_only=True)
class Acceptance:
    """A waiver beside the finding that it covers; `answer` is what the finding would be without it.

    It holds before `until`, which is the end of the last day.
    """

    who: str
    why: str
    given: datetime
    until: datetime
    answer: Answer


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One rule's answer on one subject. `id` is `rule:subject`, stable and typable.

    `control` is the published control for which it supports evidence. `degree` says how bad it is, where a figure
    can (larger is worse; the unit is the rule's own), `kind` what sort of trouble it is, as one word for which another
    stands once it is another trouble. `waivable`: False where it tells of damage or of another volume. `acceptance`
    is the waiver that holds of it.
    """

    rule: str
    subject: str
    answer: Answer
    measured: str
    required: str
    message: str
    mend: str
    evidence: tuple[EvidenceItem, ...] = ()
    control: str = ""
    degree: float | None = None
    kind: str = ""
    waivable: bool = True
    acceptance: Acceptance | None = None

    @property
    def id(self) -> str:
        """The finding's stable name: `rule:subject`."""
        return f"{self.rule}:{self.subject}"


@dataclass(frozen=True, kw_only=True)
class JudgedOriginal:
    """The original's own standing when it is counted as a copy."""

    standing: Standing
    reason: str
    evidence: OriginalEvidence
    proof: Proof


@dataclass(frozen=True, kw_only=True)
class JudgedCopy:
    """One copy with its standing. `recovery_point` None: none is proven. `ground` None: it is proven.

    `content` says in a few words what reading its content has shown (empty: that is not asked for), `drill` what its
    last drill did (empty: there was none).
    """

    address: Address
    site: str
    medium: str
    standing: Standing
    proof: Proof
    by_size: bool
    recovery_point: datetime | None
    recovery_point_trimmed: datetime | None
    reason: str
    remarks: tuple[str, ...]
    evidence: CopyEvidence
    ground: Ground | None = None
    content: str = ""
    drill: str = ""

    @property
    def comparison(self) -> CopyComparison | None:
        """The comparison behind it, if there was one."""
        return self.evidence.comparison


@dataclass(frozen=True, kw_only=True)
class JudgedDataset:
    """One dataset's conclusion with all that led to it. `going` are the recovery points that a pruning deletes next."""

    id: DatasetId
    policy: str
    conclusion: Conclusion
    original: JudgedOriginal
    copies: tuple[JudgedCopy, ...]
    exposure: Exposure | None
    findings: tuple[Finding, ...]
    waived: int = 0
    going: tuple[Going, ...] = ()

    @property
    def left_out(self) -> Tally:
        """How much of the original the patterns leave out, at the copy for which they leave out most."""
        left = [copy.comparison.left_out for copy in self.copies if copy.comparison is not None]
        return max(left, key=lambda tally: (tally.bytes, tally.files), default=Tally())


@dataclass(frozen=True, kw_only=True)
class JudgedEstate:
    """The whole audit, judged. `rooms` looks ahead for each volume of its datasets."""

    estate: str
    time_zone: str
    started: datetime
    finished: datetime
    rehearsal: bool
    conclusion: Conclusion
    datasets: tuple[JudgedDataset, ...]
    findings: tuple[Finding, ...]
    identities: tuple[IdentityCheck, ...] = ()
    gaps: tuple[Gap, ...] = ()
    waived: int = 0
    rooms: tuple[RoomForecast, ...] = ()
    whole: bool = True  # False when only some datasets were asked for
