"""The estate as it is once something is retired: declared without it, and what breaks by that."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from coverage_audit.estate.model import Address, Copy, Dataset, DatasetId, Device, Estate, Volume
from coverage_audit.judgement.verdict import Answer, Conclusion, Finding, JudgedCopy, JudgedEstate, Standing
from coverage_audit.scenarios.leaving import Leaving


class Verdict(StrEnum):
    """Whether something may be retired."""

    CLEAR = "clear"
    NOT_CLEAR = "not clear"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, kw_only=True)
class Break:
    """A criterion that does not hold once it is gone. `dataset` None: it is one of the estate itself.

    `proven`: it fails even if everything that was not verified were good.
    """

    dataset: DatasetId | None
    rule: str
    message: str
    mend: str
    proven: bool


_RANK = {
    Answer.CONFORMITY: 0,
    Answer.OBSERVATION: 0,
    Answer.WAIVED: 0,
    Answer.UNVERIFIED: 1,
    Answer.NONCONFORMITY: 2,
}
_MOVED = 1.0
"""So much further from what is required is worse; less may be the time that passed between the two judgements."""
_STANDINGS = (Standing.PROVEN, Standing.STALE, Standing.UNVERIFIED, Standing.INCOMPLETE, Standing.DAMAGED)


def estate_without(estate: Estate, leaving: Leaving, originals: Mapping[DatasetId, Address]) -> Estate:
    """Return the estate without what leaves.

    `originals` says where the original of a dataset is then. A dataset of which nothing would be left to work on (its
    original leaves, and none is named) is not in it: `without_original` names it.
    """
    devices = tuple(_device(device, leaving) for device in estate.devices if device.id not in leaving.devices)
    left = {str(device.id) for device in devices} | {str(device.site) for device in devices}
    datasets = (_dataset(one, leaving, originals, left) for one in estate.datasets)
    return replace(
        estate,
        devices=tuple(_with_keys(device, left) for device in devices),
        datasets=tuple(one for one in datasets if one is not None),
        not_kept=tuple(one for one in estate.not_kept if one.volume not in leaving.volumes),
    )


def without_original(estate: Estate, leaving: Leaving, originals: Mapping[DatasetId, Address]) -> tuple[Break, ...]:
    """Return the datasets that would have no original any more."""
    return tuple(
        Break(
            dataset=one.id,
            rule="original",
            message=f"Its original ({one.original}) leaves, and nothing that stays can be worked on in its place.",
            mend=(
                f"Bring it back from a copy to a volume that stays, and name it: --original {one.id}=DEVICE:VOLUME/PATH"
            ),
            proven=True,
        )
        for one in estate.datasets
        if leaving.holds(one.original) and one.id not in originals
    )


def best_original(dataset: Dataset, judged: Iterable[JudgedCopy], leaving: Leaving) -> Address | None:
    """Return the staying copy that may best be worked on: a plain tree, best proven, newest. None: there is none."""
    plain = {copy.address for copy in dataset.copies if copy.points is None and not leaving.holds(copy.address)}
    fit = [copy for copy in judged if copy.address in plain and copy.comparison is not None]
    if not fit:
        return None

    def merit(copy: JudgedCopy) -> tuple[int, float, int]:
        point = copy.recovery_point
        held = copy.comparison.same.bytes if copy.comparison else 0
        return -_STANDINGS.index(copy.standing), point.timestamp() if point else 0.0, held

    return max(fit, key=merit).address


def what_breaks(before: JudgedEstate, after: JudgedEstate, touched: Iterable[DatasetId]) -> tuple[Break, ...]:
    """Return what does not hold after: all of a dataset that is touched, of others and of the estate what got worse."""
    asked = frozenset(touched)
    told = {finding.id: finding for finding in _findings(before)}
    found: list[Break] = []
    for dataset in after.datasets:
        failing = [one for one in dataset.findings if _RANK[one.answer]]
        if dataset.id not in asked:
            failing = [one for one in failing if _is_worse(one, told)]
        found += [_break(dataset.id, one) for one in failing]
        if dataset.id in asked and dataset.conclusion is not Conclusion.CONFORMING and not failing:
            found.append(_concluded(dataset.id, dataset.conclusion))
    found += [_break(None, one) for one in after.findings if _RANK[one.answer] and _is_worse(one, told)]
    return tuple(sorted(found, key=lambda one: (not one.proven, str(one.dataset), one.rule)))


def _findings(judged: JudgedEstate) -> Iterable[Finding]:
    yield from judged.findings
    for dataset in judged.datasets:
        yield from dataset.findings


def _is_worse(finding: Finding, told: Mapping[str, Finding]) -> bool:
    before = told.get(finding.id)
    if before is None or _RANK[finding.answer] != _RANK[before.answer]:
        return before is None or _RANK[finding.answer] > _RANK[before.answer]
    further = (finding.degree or 0.0) - (before.degree or 0.0)
    return further >= _MOVED


def _break(dataset: DatasetId | None, finding: Finding) -> Break:
    proven = finding.answer is Answer.NONCONFORMITY
    return Break(dataset=dataset, rule=finding.rule, message=finding.message, mend=finding.mend, proven=proven)


def _concluded(dataset: DatasetId, conclusion: Conclusion) -> Break:
    proven = conclusion is Conclusion.NONCONFORMING
    return Break(dataset=dataset, rule="conclusion", message=f"It would be {conclusion}.", mend="", proven=proven)


def _device(device: Device, leaving: Leaving) -> Device:
    return replace(device, volumes=tuple(volume for volume in device.volumes if volume.key not in leaving.volumes))


def _with_keys(device: Device, left: set[str]) -> Device:
    return replace(device, volumes=tuple(_keyed_volume(volume, left) for volume in device.volumes))


def _keyed_volume(volume: Volume, left: set[str]) -> Volume:
    return replace(volume, key_kept=tuple(place for place in volume.key_kept if place in left))


def _dataset(
    dataset: Dataset, leaving: Leaving, originals: Mapping[DatasetId, Address], left: set[str]
) -> Dataset | None:
    original = originals.get(dataset.id, dataset.original)
    if leaving.holds(original):
        return None
    moved = dataset.moved_from if original == dataset.original else (*dataset.moved_from, dataset.original)
    copies = tuple(
        _copy(copy, leaving, left)
        for copy in dataset.copies
        if not leaving.holds(copy.address) and copy.address != original
    )
    return replace(dataset, original=original, copies=copies, moved_from=moved)


def _copy(copy: Copy, leaving: Leaving, left: set[str]) -> Copy:
    source = copy.taken_from
    return replace(
        copy,
        taken_from=None if source is not None and leaving.holds(source) else source,
        key_kept=tuple(place for place in copy.key_kept if place in left),
    )
