"""What is lost when something is gone: the types that the scenarios conclude and the reports tell.

Sizes are decimal bytes, instants are aware. Nothing here is better than what was observed: a place counts as holding
something only with evidence that the audit trusted; any other "may hold it, not shown".
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from coverage_audit.estate.model import Address, DatasetId, DeviceId, Proof, SiteId, VolumeKey
from coverage_audit.evidence.difference import Exposure, Tally
from coverage_audit.judgement.domains import Domain
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, Standing
from coverage_audit.reckoning.restoring import TimeBack
from coverage_audit.scenarios.cut_set import DatasetCuts
from coverage_audit.scenarios.drive_out import DriveOut


class Fate(StrEnum):
    """What becomes of a dataset, the worst first."""

    LOST = "lost"  # no place that is declared to hold it is left
    NOT_SHOWN = "not shown to be held"  # what is left may hold it, and nothing shows that
    FALLS_BACK = "falls back"  # the original is gone, and the best copy is behind it
    HELD = "held"  # the original is gone, and a copy holds all that was seen of it
    TOUCHED = "less covered"  # only copies are gone


@dataclass(frozen=True, kw_only=True)
class Place:
    """One place that holds, or may hold, a dataset. `why` says what its standing rests on.

    `not_held` is what it lacks of the original as last seen (None: not known). `key_gone`: it is encrypted and every
    place that keeps its key is gone, so that it holds nothing any more. `recovery_point` is the proven one.
    """

    address: Address
    site: SiteId
    is_original: bool
    standing: Standing
    proof: Proof
    holds: Holds
    recovery_point: datetime | None
    recovery_point_trimmed: datetime | None
    not_held: Tally | None
    why: str
    seen: datetime | None = None
    encrypted: bool = False
    key_kept: tuple[str, ...] = ()
    key_gone: bool = False


@dataclass(frozen=True, kw_only=True)
class Restore:
    """How long it takes until so many bytes are back from one place (`time` None: no rate on the way is known).

    `shown`: the rate was measured and the time to fetch is known; else it takes at least that long.
    """

    source: Address
    bytes: int
    time: TimeBack | None
    shown: bool = False


@dataclass(frozen=True, kw_only=True)
class BelowPolicy:
    """A criterion that fails, or is not shown, on what is left. `before` is its answer while nothing is gone."""

    finding: Finding
    before: Answer | None

    @property
    def is_new(self) -> bool:
        """Whether it holds while nothing is gone."""
        return self.before in {None, Answer.CONFORMITY, Answer.OBSERVATION}


@dataclass(frozen=True, kw_only=True)
class DatasetLoss:
    """What one loss does to one dataset.

    `original_gone`: it falls, or is not shown to be apart from what falls. `size` is all that the original held when
    last seen (None: never seen), `left_out` what of it no copy is to hold.
    `gone` are its places that fall, `left` the others, the best first. `best` is where it would come back from (None:
    nothing is shown to hold it; where the original is left it is that). `not_held` is what `best` lacks, `since` from
    when on (its proven recovery point; None: not known). `exposed` is what no copy holds: known only where the
    original alone is gone. `conclusion` is that of the policy on what is left.
    """

    dataset: DatasetId
    policy: str
    fate: Fate
    original_gone: bool
    size: Tally | None
    left_out: Tally
    gone: tuple[Place, ...]
    left: tuple[Place, ...]
    best: Place | None
    not_held: Tally | None
    since: datetime | None
    since_trimmed: datetime | None
    exposed: Exposure | None
    below: tuple[BelowPolicy, ...]
    conclusion: Conclusion
    restore: Restore | None
    restore_within: timedelta | None


@dataclass(frozen=True, kw_only=True)
class AlsoFalls:
    """A device or volume that falls with what is gone, and why (`runs on`, `stored on`, in the same room)."""

    name: str
    why: str


@dataclass(frozen=True, kw_only=True)
class KeyAt:
    """An encrypted volume whose key is kept at what is gone; `elsewhere` are the other places that keep it."""

    volume: VolumeKey
    elsewhere: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Loss:
    """What is lost with one failure domain. `datasets` are those that it touches, the worst first.

    `back` is how long all of it takes at least, one after the other in the order of `order`; of `not_reckoned` no rate
    is known, and they are not in it (None: of all of them, or nothing has to come back).
    """

    domain: Domain
    said: str  # "the room lab", "the device kestrel with its guest avocet"
    devices: tuple[DeviceId, ...]
    volumes: tuple[VolumeKey, ...]
    also: tuple[AlsoFalls, ...]
    survives: tuple[AlsoFalls, ...]  # of an account: what it cannot erase, and why
    datasets: tuple[DatasetLoss, ...]
    untouched: tuple[DatasetId, ...]
    keys: tuple[KeyAt, ...]
    order: tuple[DatasetId, ...]
    back: timedelta | None
    not_reckoned: tuple[DatasetId, ...]
    drive: DriveOut | None
    assumptions: tuple[str, ...]

    def of(self, fate: Fate) -> tuple[DatasetLoss, ...]:
        """Return the datasets of this fate."""
        return tuple(dataset for dataset in self.datasets if dataset.fate is fate)


@dataclass(frozen=True, kw_only=True)
class LossTable:
    """All failure domains, the worst first, and the smallest sets of failures for each dataset.

    `as_of` is when the audit began that all of it rests on, `at` when this was reckoned. `unjudged` are datasets and
    copies that are declared and that this audit did not judge: they count for nothing.
    """

    estate: str
    as_of: datetime
    at: datetime
    rehearsal: bool
    losses: tuple[Loss, ...]
    cuts: tuple[DatasetCuts, ...]
    unjudged: tuple[str, ...]
    assumptions: tuple[str, ...]
