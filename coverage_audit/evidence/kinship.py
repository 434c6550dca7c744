"""Two copies that lack, or have damaged, the same files: the figures by which one looks made of the other."""

from __future__ import annotations

from dataclasses import dataclass

from coverage_audit.estate.model import Address


@dataclass(frozen=True, kw_only=True)
class Alike:
    """What two copies have in common of what counts against each.

    `lacking` entries are missing in both, or older than the original's in both and the same; `damaged` differ from the
    original's in both in the very same way (`example` is one of them, else of those lacking). `first_only` and
    `second_only` count against one alone.
    """

    lacking: int
    damaged: int
    first_only: int
    second_only: int
    example: bytes = b""


@dataclass(frozen=True, kw_only=True)
class Resemblance:
    """Two copies of one dataset, of which neither is declared to be made of the other, and what they have in common."""

    first: Address
    second: Address
    alike: Alike
