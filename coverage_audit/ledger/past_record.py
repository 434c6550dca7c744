"""What was, in plain frozen values: nights, and a span of the past as the ledger kept it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from coverage_audit.estate.model import DatasetId, VolumeKey
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedEstate
from coverage_audit.ledger.record import EstateEvent


class NightOutcome(StrEnum):
    """How a night ended."""

    AUDITED = "audited"
    FAILED = "failed"  # the auditor's own machine failed; what is recorded stands
    BUSY = "busy"  # another audit held the state folder until the next night was due


@dataclass(frozen=True, kw_only=True)
class NightRecord:
    """What the daemon did in one night, named by its local date.

    `finished` and `outcome` are None until its news was put into the outbox. `detail` says why it failed. `missed`
    nights before it had no audit, since the night `missed_since`.
    """

    night: date
    started: datetime
    finished: datetime | None = None
    outcome: NightOutcome | None = None
    detail: str = ""
    missed: int = 0
    missed_since: date | None = None


@dataclass(frozen=True, kw_only=True)
class AuditDay:
    """One audit. `whole`: of all datasets."""

    started: datetime
    finished: datetime
    conclusion: Conclusion
    whole: bool
    rehearsal: bool


@dataclass(frozen=True, kw_only=True)
class DatasetDay:
    """One dataset in one audit, begun at `at`. Sizes are bytes; None: it was not seen, or could not be told."""

    dataset: DatasetId
    at: datetime
    conclusion: Conclusion
    files: int | None
    bytes: int | None
    exposed_files: int | None
    exposed_bytes: int | None
    exposed_since: datetime | None


@dataclass(frozen=True, kw_only=True)
class VolumeDay:
    """A volume's room in one audit, in bytes (None: not shown)."""

    volume: VolumeKey
    at: datetime
    capacity: int | None
    free: int | None


@dataclass(frozen=True, kw_only=True)
class Incident:
    """A finding from when it began until it was settled (`ended` None: it lasts). `worst` is its worst answer.

    `finding` is as it stands, of an ended one as it was when it was worst. `ended_as` is the answer that ended it: a
    waiver settles nothing; None: it lasts, or is not asked for any more.
    """

    finding: Finding
    dataset: DatasetId | None
    began: datetime
    ended: datetime | None
    worst: Answer
    ended_as: Answer | None = None

    @property
    def recovered(self) -> bool:
        """Whether it ended because what it asks for is observed again."""
        return self.ended_as in {Answer.CONFORMITY, Answer.OBSERVATION}


@dataclass(frozen=True, kw_only=True)
class LookBack:
    """What the ledger kept of the time after `since` until `until`, each in the order of time.

    `incidents` are those that were open at any moment of it.
    """

    since: datetime
    until: datetime
    audits: tuple[AuditDay, ...] = ()
    nights: tuple[NightRecord, ...] = ()
    datasets: tuple[DatasetDay, ...] = ()
    volumes: tuple[VolumeDay, ...] = ()
    incidents: tuple[Incident, ...] = ()
    events: tuple[EstateEvent, ...] = ()


@dataclass(frozen=True, kw_only=True)
class LastJudged:
    """The newest audit of all datasets, as it was judged; `estate_text` is the estate that it judged.

    `judged` is None where it cannot be read back, and `why` says why not.
    """

    started: datetime
    finished: datetime
    estate_text: str
    judged: JudgedEstate | None
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class SummaryRecord:
    """A weekly page: the local date by which it is named, when it was made, and the name of its file in `summaries/`.

    `sent` is when it was put into the outbox for all who want it (None: it was only made).
    """

    page_of: date
    made: datetime
    file: str
    sent: datetime | None = None
