"""What is declared of one volume: who claims what on it, and what its owner says need not be kept."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from coverage_audit.comparison.leaving_out import LeavingOut
from coverage_audit.estate.model import Estate, Volume
from coverage_audit.evidence.surveyed import Holder, Share
from coverage_audit.reckoning.claims import Claims, claims_on


@dataclass(frozen=True, kw_only=True)
class Declared:
    """A volume's claims, and the patterns that leave out, each with its holder, in the order in which they decide.

    `mark` differs wherever the declarations do: a survey holds for the declarations under which it was made.
    """

    claims: Claims
    leaving: LeavingOut
    left_to: tuple[Holder, ...]
    mark: str


def declared_on(estate: Estate, volume: Volume) -> Declared:
    """Gather what an estate declares of a volume. Raises ComparisonError for a pattern that makes no sense."""
    claims = claims_on(estate, volume)
    litter = (Holder(share=Share.LITTER, name=name) for name in estate.litter)
    not_kept = (
        Holder(share=Share.NOT_KEPT, name=name, who=one.who, why=one.why)
        for one in estate.not_kept
        if one.volume == volume.key
        for name in one.names
    )
    left_to = (*litter, *not_kept)
    # repr of frozen values of text, bytes and numbers: the same for the same declarations, and never read back
    told = repr((volume.path, estate.limits.survey_depth, claims, left_to))
    return Declared(
        claims=Claims(claims),
        leaving=LeavingOut([holder.name for holder in left_to]),
        left_to=left_to,
        mark=hashlib.sha256(told.encode("utf-8", "backslashreplace")).hexdigest(),
    )
