"""A volume while one of its drives is out: what it stands, for how long, and what is at stake meanwhile.

Sizes are decimal bytes. Every chance is an upper bound, with what it assumes beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

from coverage_audit.estate.model import Address, DatasetId, VolumeKey
from coverage_audit.reckoning.rebuilding import RebuildRisk


@dataclass(frozen=True, kw_only=True)
class DriveAge:
    """A drive's age against the service life that is reckoned with. `years` None: its first day is not declared."""

    number: int
    size: int
    years: float | None
    service_years: float

    @property
    def is_over(self) -> bool:
        """Whether it is past its service life."""
        return self.years is not None and self.years >= self.service_years


@dataclass(frozen=True, kw_only=True)
class ArrayState:
    """What a volume's drives are together: bytes that can be used and that serve nothing, losses that it stands.

    `parity` is empty where there is none, `wrong` says why no such array can be (then the figures are 0).
    """

    drives: tuple[int, ...]
    parity: str
    usable: int
    unused: int
    stands: int
    wrong: str = ""


@dataclass(frozen=True, kw_only=True)
class AtStake:
    """A dataset of which a volume holds something that no proven copy elsewhere holds."""

    dataset: DatasetId
    address: Address
    bytes: int | None
    why: str


@dataclass(frozen=True, kw_only=True)
class DriveOut:
    """A volume while a drive is out. `risk` is that of its rebuild (None: the volume stands no loss, or `array.wrong`).

    `number` is the drive's, as declared. `without` is what the other drives would be as an array of their own, where
    no other drive takes its place. `replaced` is the array after the replacement that was asked about (None:
    none was), `steps` what to mind meanwhile, in order. `at_stake` has no proven copy elsewhere.
    """

    volume: VolumeKey
    number: int
    array: ArrayState
    without: ArrayState
    replaced: ArrayState | None
    risk: RebuildRisk | None
    ages: tuple[DriveAge, ...]
    at_stake: tuple[AtStake, ...]
    steps: tuple[str, ...]
    assumptions: tuple[str, ...]
