"""One dataset when something fails: which of its places are gone, what the others are shown to hold, what is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from coverage_audit.estate.model import Proof
from coverage_audit.evidence.difference import Exposure, Tally
from coverage_audit.judgement.counting import ORIGINAL
from coverage_audit.judgement.domains import Domain
from coverage_audit.judgement.holds import Holds
from coverage_audit.judgement.stakes import Stake, key_layers
from coverage_audit.judgement.verdict import Conclusion, JudgedCopy, Standing
from coverage_audit.scenarios.loss import DatasetLoss, Fate, Place
from coverage_audit.scenarios.material import DatasetMaterial
from coverage_audit.scenarios.remaining import Remaining, below_policy
from coverage_audit.scenarios.size import size_of

_NEVER: Final = datetime.min.replace(tzinfo=UTC)
_NONE: Final = Tally()


@dataclass(frozen=True, kw_only=True)
class _Fallen:
    """The places of a dataset by their numbers: those that are gone for sure, that may be gone, and that are left."""

    gone: tuple[int, ...]
    doubtful: tuple[int, ...]
    left: tuple[int, ...]


def dataset_loss(dataset: DatasetMaterial, failed: frozenset[Domain]) -> DatasetLoss | None:
    """Return what becomes of one dataset when all of these fail (None: it has no part in that)."""
    fallen = _fallen(dataset.stakes, failed)
    if not (fallen.gone or fallen.doubtful):
        return None
    places = {
        stake.number: _place(stake, dataset, failed, doubtful=stake.number in fallen.doubtful)
        for stake in dataset.stakes
    }
    left = sorted((places[number] for number in fallen.left), key=_rank)
    shown = [place for place in left if place.holds.shown]
    best = shown[0] if shown else None
    original_out = ORIGINAL in fallen.gone or ORIGINAL in fallen.doubtful
    fate = _fate(best, left, original_out=original_out)
    remaining = Remaining(
        left=fallen.left,
        doubtful=fallen.doubtful,
        stand_in=_number(best or (left[0] if left else None), dataset) if original_out else ORIGINAL,
    )
    below = below_policy(dataset, remaining)
    return DatasetLoss(
        dataset=dataset.judged.id,
        policy=dataset.context.policy.id,
        fate=fate,
        original_gone=original_out,
        size=size_of(dataset),
        left_out=dataset.judged.left_out,
        gone=tuple(places[number] for number in fallen.gone),
        left=tuple(left),
        best=best,
        not_held=best.not_held if best else None,
        since=best.recovery_point if best else None,
        since_trimmed=best.recovery_point_trimmed if best else None,
        exposed=_exposed(dataset, fallen),
        below=below.criteria,
        conclusion=Conclusion.NONCONFORMING if fate is Fate.LOST else below.conclusion,
        restore=None,
        restore_within=dataset.context.policy.restore_within,
    )


def _fallen(stakes: Sequence[Stake], failed: frozenset[Domain]) -> _Fallen:
    gone = tuple(stake.number for stake in stakes if stake.lost_by(failed))
    doubtful = tuple(
        stake.number for stake in stakes if stake.number not in gone and stake.lost_by(failed, perhaps=True)
    )
    return _Fallen(
        gone=gone, doubtful=doubtful, left=tuple(stake.number for stake in stakes if stake.number not in gone)
    )


def _fate(best: Place | None, left: Sequence[Place], *, original_out: bool) -> Fate:
    if best is None:
        return Fate.NOT_SHOWN if any(place.holds is Holds.NOT_SHOWN for place in left) else Fate.LOST
    if not original_out:
        return Fate.TOUCHED
    return Fate.HELD if best.holds is Holds.ALL and best.not_held == _NONE else Fate.FALLS_BACK


def _place(stake: Stake, dataset: DatasetMaterial, failed: frozenset[Domain], *, doubtful: bool) -> Place:
    holding = dataset.context.holdings.places[stake.number]
    holds = Holds.NOT_SHOWN if doubtful and stake.holds.shown else stake.holds
    copy = None if stake.number == ORIGINAL else dataset.context.copies[stake.number - 1]
    why = next((word for domain, word in stake.falls.perhaps.items() if domain in failed), "") if doubtful else ""
    volume = holding.place.volume
    kept = (
        volume.key_kept if copy is None else tuple(k for layer in key_layers(copy.evidence.copy, volume) for k in layer)
    )
    return Place(
        address=holding.address,
        site=holding.is_at,
        is_original=copy is None,
        standing=holding.standing,
        proof=dataset.context.original.proof if copy is None else copy.proof,
        holds=holds,
        recovery_point=holding.seen_at if copy is None and holds is Holds.ALL else _point(copy),
        recovery_point_trimmed=copy.recovery_point_trimmed if copy else None,
        not_held=(_NONE if holds is Holds.ALL else None) if copy is None else _not_held(copy),
        why=why or holding.reason,
        seen=holding.seen_at,
        encrypted=stake.encrypted,
        key_kept=tuple(dict.fromkeys(kept)),
        key_gone=stake.key_gone(failed),
    )


def _point(copy: JudgedCopy | None) -> datetime | None:
    return copy.recovery_point if copy else None


def _not_held(copy: JudgedCopy) -> Tally | None:
    """Return what a copy lacks of the original as it was last seen, pending or not (None: nobody compared them)."""
    found = copy.comparison
    return None if found is None else found.missing + found.changed


def _rank(place: Place) -> tuple[int, bool, float, int, Proof]:
    """Put the best first: the original, then what is proven, then the newest state, then the least lacking."""
    if place.is_original and place.holds.shown:
        return (-1, False, 0.0, 0, Proof.RESTORED)
    grade = (Holds.ALL, Holds.PART, Holds.NOT_SHOWN, Holds.NOTHING).index(place.holds)
    newest = (place.recovery_point or _NEVER) - _NEVER
    lacking = place.not_held.bytes if place.not_held is not None else 1 << 62
    return (grade, place.standing is Standing.DAMAGED, -newest.total_seconds(), lacking, Proof(4 - place.proof))


def _number(place: Place | None, dataset: DatasetMaterial) -> int | None:
    if place is None:
        return None
    return next(stake.number for stake in dataset.stakes if stake.address == place.address)


def _exposed(dataset: DatasetMaterial, fallen: _Fallen) -> Exposure | None:
    """Return what no copy holds, where every copy is left and shown to hold something."""
    copies = [stake for stake in dataset.stakes if stake.number != ORIGINAL]
    if ORIGINAL not in fallen.gone or len(fallen.left) != len(copies) or fallen.doubtful:
        return None
    return dataset.judged.exposure if all(stake.holds.shown for stake in copies) else None
