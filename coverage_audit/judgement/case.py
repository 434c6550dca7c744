"""The case that is judged: for each dataset what was declared and all evidence there is.

Built by the audit out of what the collectors, the comparison and the ledger returned; frozen values
without files or connections, so that a case can be judged again with something taken away.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from coverage_audit.estate.model import Copy, Dataset, Device, Policy, Volume
from coverage_audit.evidence.difference import CopyComparison, Exposure, Tally
from coverage_audit.evidence.drilling import DrillsOfCopy
from coverage_audit.evidence.facts import (
    DeviceFacts,
    Gap,
    IdentityCheck,
    PointList,
    RecoveryPoint,
    VolumeFacts,
)
from coverage_audit.evidence.kinship import Resemblance
from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.measured import MeasuredRate
from coverage_audit.evidence.points_past import PointsPast
from coverage_audit.evidence.room import RoomHistory
from coverage_audit.evidence.shelf import Attached
from coverage_audit.evidence.turnover import Watched
from coverage_audit.evidence.verified import Spoilt, Verified


@dataclass(frozen=True, kw_only=True)
class PlaceEvidence:
    """What is known of the place where an original or a copy lies, in this audit.

    `attached`: a shelf drive that is plugged in, since when and where (None: it is not, or it is no shelf drive).
    """

    device: Device
    volume: Volume
    device_facts: DeviceFacts | Gap
    volume_facts: VolumeFacts | Gap
    identity: IdentityCheck | Gap
    attached: Attached | None = None


@dataclass(frozen=True, kw_only=True)
class OriginalEvidence:
    """What was seen of an original.

    `tree` is this audit's; `as_of` the last complete manifest against which the copies were judged when `tree`
    is a gap (None: there is none). `before` is what it held when it was last proven, for shrinkage (None: never).
    `spoilt` are the first of the `spoilt_files` whose content changed although nothing says that they were written to.
    `watched` is what it lost and rewrote at once (None: that was not looked at).
    """

    place: PlaceEvidence
    tree: Manifest | Gap
    as_of: Manifest | None = None
    before: Tally | None = None
    spoilt: tuple[Spoilt, ...] = ()
    spoilt_files: int = 0
    watched: Watched | None = None


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """What each pattern left out of the original at one earlier comparison with a copy, in the audit begun at `at`.

    `whole` is all that the original held then, with what was left out of it.
    """

    at: datetime
    whole: Tally
    by: tuple[tuple[str, Tally], ...]


@dataclass(frozen=True, kw_only=True)
class CopyEvidence:
    """What was seen of one copy.

    `comparison` is None where there was nothing to compare; then `gap` says why. `tree_at` is when the judged
    tree was observed (a mirror seen earlier, within `may_be_off`, keeps its own time). For dated copies
    `points` lists all and `point` is the one whose tree was compared; `half_made` names those that were compared and
    are no whole state, `past` is what is remembered of its points, this audit's list with it (None: nothing).
    `left_out_before` is what earlier comparisons left out, the newest first. `seen_before` is when its tree was last
    seen, where that counts no more. `verified` is what reading its content has shown (None: it was never to be read),
    `watched` what a mirror lost and rewrote at once (None: that was not looked at), `drills` what was read back out of
    it before (None: that is not known).
    """

    copy: Copy
    place: PlaceEvidence
    comparison: CopyComparison | None = None
    gap: Gap | None = None
    tree_at: datetime | None = None
    points: PointList | Gap | None = None
    point: RecoveryPoint | None = None
    half_made: tuple[str, ...] = ()
    past: PointsPast | None = None
    left_out_before: tuple[LeftOut, ...] = ()
    seen_before: datetime | None = None
    verified: Verified | None = None
    watched: Watched | None = None
    drills: DrillsOfCopy | None = None


@dataclass(frozen=True, kw_only=True)
class DatasetCase:
    """One dataset with its policy and its evidence.

    `rooms` is the past of the volumes on which it lies, `rates` how fast those were seen to give back what they hold.
    `resembling` are copies that look as if one was made of the other.
    """

    dataset: Dataset
    policy: Policy
    original: OriginalEvidence
    copies: tuple[CopyEvidence, ...]
    exposure: Exposure | None = None
    rooms: tuple[RoomHistory, ...] = ()
    rates: tuple[MeasuredRate, ...] = ()
    resembling: tuple[Resemblance, ...] = ()

    @property
    def places(self) -> tuple[PlaceEvidence, ...]:
        """What is known of each place, the original's first."""
        return (self.original.place, *(copy.place for copy in self.copies))
