"""What a rule is given: one dataset or the whole estate, judged as far as the rules need it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from coverage_audit.estate.model import Dataset, DeviceId, Estate, Policy, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, IdentityCheck
from coverage_audit.evidence.own import OwnPlaces
from coverage_audit.evidence.shelf import DriveSeen
from coverage_audit.evidence.surveyed import Undeclared
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.counting import Holdings
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.verdict import Answer, JudgedCopy, JudgedOriginal


@dataclass(frozen=True, kw_only=True)
class DatasetContext:
    """One dataset. `decided` is the worst answer of the rules that count proven copies, `rooms` the room of volumes.

    `machines` is what each device of the audit showed of itself. The rules that count decide, so a copy's own
    defect is a criterion only as far as they need that copy: `own_answer`.
    """

    case: DatasetCase
    estate: Estate
    original: JudgedOriginal
    copies: tuple[JudgedCopy, ...]
    holdings: Holdings
    started: datetime
    finished: datetime
    decided: Answer = Answer.CONFORMITY
    rooms: Mapping[VolumeKey, RoomForecast] = field(default_factory=dict)
    machines: Mapping[DeviceId, DeviceFacts] = field(default_factory=dict)

    @property
    def dataset(self) -> Dataset:
        """The dataset as declared."""
        return self.case.dataset

    @property
    def policy(self) -> Policy:
        """Its policy."""
        return self.case.policy

    @property
    def zone(self) -> ZoneInfo:
        """The zone in which instants are said."""
        return self.estate.time_zone

    def own_answer(self, answer: Answer) -> Answer:
        """Return what one copy's own answer amounts to for the dataset.

        Where proven copies are enough without it, or may be, its defect breaks no criterion and is an
        observation: something to look at.
        """
        if answer is Answer.CONFORMITY:
            return answer
        if answer is Answer.NONCONFORMITY:
            return answer if self.decided is Answer.NONCONFORMITY else Answer.OBSERVATION
        return Answer.OBSERVATION if self.decided is Answer.CONFORMITY else Answer.UNVERIFIED

    def originals_answer(self, answer: Answer) -> Answer:
        """Return what the original's own answer amounts to for the dataset.

        It is a criterion however many copies there are: what they are compared with must be seen. Only while its
        box is off, as it may be for so long, are its copies enough, judged as of the last time it was seen.
        """
        return self.own_answer(answer) if self._original_is_off_with_leave() else answer

    def _original_is_off_with_leave(self) -> bool:
        original = self.case.original
        box, allowed = original.place.device_facts, original.place.device.may_be_off
        off = isinstance(box, Gap) and box.kind is GapKind.UNREACHABLE and isinstance(original.tree, Gap)
        if not off or allowed is None or original.as_of is None:
            return False
        return self.finished - original.as_of.origin.started <= allowed


@dataclass(frozen=True, kw_only=True)
class EstateContext:
    """The whole audit. `devices` holds what each device showed of itself, as far as it was asked."""

    estate: Estate
    cases: tuple[DatasetCase, ...]
    devices: Mapping[DeviceId, DeviceFacts | Gap]
    identities: tuple[IdentityCheck, ...]
    started: datetime
    finished: datetime
    whole: bool
    undeclared: Undeclared | None = None  # None: not looked for (only some datasets were asked for)
    drives: tuple[DriveSeen, ...] = ()
    own: OwnPlaces | None = None  # None: not told where the auditor's own state lies
