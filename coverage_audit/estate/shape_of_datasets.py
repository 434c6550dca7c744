"""The shape of a dataset: its original, its copies, and where their recovery points are told."""

from __future__ import annotations

from typing import Annotated

from pydantic import Discriminator, Field, Tag, model_validator

from coverage_audit.estate.leaves import (
    AddressText,
    Duration,
    IdText,
    Pattern,
    ProofWord,
    Reference,
)
from coverage_audit.estate.leaves_of_points import (
    Argument,
    InnerPath,
    LinePattern,
    PointPattern,
    PointsWord,
    ReceivedWord,
    Selection,
    ZfsName,
)
from coverage_audit.estate.strict import Strict


class BtrfsShape(Strict):
    """Which subvolume the snapshots must be of."""

    snapshot_of: InnerPath


def _kind_of_btrfs(value: object) -> str:
    return "(snapshots)" if isinstance(value, dict | BtrfsShape) else "(received)"


class PointsShape(Strict):
    """Where the recovery points of a copy are told: exactly one of the first five."""

    folders: PointPattern | None = None
    files: PointPattern | None = None
    btrfs: (
        Annotated[
            Annotated[ReceivedWord, Tag("(received)")] | Annotated[BtrfsShape, Tag("(snapshots)")],
            Discriminator(_kind_of_btrfs),
        ]
        | None
    ) = None
    zfs: ZfsName | None = None
    command: Annotated[list[Argument], Field(min_length=1, max_length=32)] | None = None
    json_: Annotated[Selection | None, Field(alias="json")] = None
    lines: LinePattern | None = None

    @model_validator(mode="after")
    def one_source(self) -> PointsShape:
        """Refuse two sources of points, and a command without a way to read what it prints."""
        given = [name for name in SOURCES_OF_POINTS if getattr(self, name) is not None]
        if len(given) != 1:
            said = f"{' and '.join(given)} are two sources" if given else "no source of points is given"
            raise ValueError(f"{said} (give one of {', '.join(SOURCES_OF_POINTS)})")
        ways = [name for name, way in (("json", self.json_), ("lines", self.lines)) if way is not None]
        if self.command is not None and len(ways) != 1:
            raise ValueError("a command's points are read in one way (give either 'json' or 'lines')")
        if self.command is None and ways:
            raise ValueError(f"'{ways[0]}' reads what a command prints (give 'command' too, or remove it)")
        return self


SOURCES_OF_POINTS = ("folders", "files", "btrfs", "zfs", "command")
"""The ways in which the recovery points of a copy can be told."""


def _kind_of_points(value: object) -> str:
    return "(source)" if isinstance(value, dict | PointsShape) else "(named)"


class CopyShape(Strict):
    """Another place that should hold the dataset."""

    at: AddressText
    points: (
        Annotated[
            Annotated[PointsWord, Tag("(named)")] | Annotated[PointsShape, Tag("(source)")],
            Discriminator(_kind_of_points),
        ]
        | None
    ) = None
    max_age: Duration | None = None
    proof: ProofWord | None = None
    leave_out: list[Pattern] = []
    moved_from: list[AddressText] = []
    taken_from: AddressText | None = None
    encrypted: bool = False
    key_kept: list[Reference] = []


class DatasetShape(Strict):
    """A named body of data with one original location and a policy."""

    policy: Reference
    original: AddressText
    copies: list[CopyShape] = []
    leave_out: list[Pattern] = []
    formerly: list[IdText] = []
    moved_from: list[AddressText] = []
