"""What an audit works with: handed over by the composition root, so that a test can move the clock."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from coverage_audit.comparison.types import Workspace
from coverage_audit.estate.model import Device
from coverage_audit.evidence.collected import Answer, Question, SecondLook
from coverage_audit.evidence.content import HashedFiles, Wanted
from coverage_audit.evidence.drilling import FilesBack
from coverage_audit.evidence.facts import Gap
from coverage_audit.evidence.own import OwnPlaces
from coverage_audit.ledger.ledger import Ledger


class Gather(Protocol):
    """Asks devices, in parallel and within their time limits."""

    def __call__(self, questions: Sequence[Question]) -> tuple[Answer, ...]:
        """Return one answer a question; what could not be seen is a gap in it."""


class LookAgain(Protocol):
    """Looks once more at named paths below a root."""

    def __call__(self, device: Device, root: str, paths: Sequence[bytes]) -> tuple[SecondLook, ...]:
        """Return what lies there now; a path that cannot be looked at is left out.

        Raises CollectionError when the box cannot be asked.
        """


class HashFiles(Protocol):
    """Reads the content of named files of a device, on the box itself where it has the means."""

    def __call__(
        self,
        device: Device,
        root: str,
        wanted: Sequence[Wanted],
        *,
        algorithm: str,
        budget: timedelta,
        rate: int,
    ) -> HashedFiles | Gap:
        """Return digests of files below `root`, in their order, at most `rate` bytes a second on average.

        It ends after `budget`. A file that does not fit the rest of it at that rate is passed over and left. A gap
        where nothing came of it: the box could not be asked, or its gate does not allow content to be read.
        """


class ReadBack(Protocol):
    """Reads named files of a device back onto a scratch disk, over the device's own way."""

    def __call__(
        self, device: Device, root: str, wanted: Sequence[Wanted], *, algorithms: Sequence[str], scratch: Path
    ) -> FilesBack | Gap:
        """Return what the scratch disk held of files below `root`, in their order.

        A gap where nothing came of it: the box could not be asked, or its gate does not let content be sent.
        """


@dataclass(frozen=True, kw_only=True)
class Parts:
    """An audit's collaborators. `clock` gives aware instants in UTC.

    `usable_digests` tells which algorithms a device's files can be digested with, the best first.
    """

    gather: Gather
    look_again: LookAgain
    hash_files: HashFiles
    usable_digests: Callable[[Device], tuple[str, ...] | Gap]
    read_back: ReadBack
    ledger: Ledger
    work: Workspace
    own: OwnPlaces
    clock: Callable[[], datetime]
