"""Whether more or less is asked than before: policies, datasets under another policy, copies with their own criteria.

Pure. A criterion that is asked where it was not is tighter, one that is dropped is looser; of one that no single figure
says and that reads otherwise now, nobody can say.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta

from coverage_audit.estate.declared import Part
from coverage_audit.estate.former import Lineage, lineage_of
from coverage_audit.estate.model import Address, Copy, Dataset, DatasetId, Estate, Policy, Proof
from coverage_audit.estate.units import format_duration, format_share

_Criteria = Mapping[str, tuple[str, float | None]]
"""By name what is asked, in words, and as a figure that grows with what is asked (None: no figure says it)."""


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One criterion that is asked otherwise; `before` or `now` None: it was, or is, not asked.

    `tighter` None: nobody can say.
    """

    what: str
    before: str | None
    now: str | None
    tighter: bool | None


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What is asked otherwise of one subject; `name` is its present one.

    `under`: the policies before and now, where they are not the same.
    """

    part: Part
    name: str
    turns: tuple[Turn, ...]
    under: tuple[str, str] | None = None

    @property
    def direction(self) -> str:
        """Say in a word which way it went."""
        found = {turn.tighter for turn in self.turns}
        if found == {True}:
            return "tightened"
        return "loosened" if found == {False} else "changed"


def asked_otherwise(before: Estate, now: Estate) -> tuple[Asked, ...]:
    """Return what is asked otherwise of what was there before and is there now, in the order of the present estate."""
    return (*_policies(before, now), *_datasets(before, now))


def _policies(before: Estate, now: Estate) -> Iterator[Asked]:
    old = {policy.id: policy for policy in before.policies}
    for policy in now.policies:
        turns = _turns(_of_policy(old[policy.id]), _of_policy(policy)) if policy.id in old else ()
        if turns:
            yield Asked(part=Part.POLICY, name=policy.id, turns=turns)


def _datasets(before: Estate, now: Estate) -> Iterator[Asked]:
    lineage = lineage_of(now)
    old = {dataset.id: dataset for dataset in before.datasets}
    for dataset in now.datasets:
        was = next((old[name] for name in lineage.of_dataset(dataset.id) if name in old), None)
        if was is None:
            continue
        policies = before.policy(was.policy), now.policy(dataset.policy)
        if was.policy != dataset.policy:
            turns = _turns(*(_of_policy(policy) for policy in policies))
            yield Asked(part=Part.DATASET, name=dataset.id, turns=turns, under=(was.policy, dataset.policy))
        yield from _copies(was, dataset, policies, lineage)


def _copies(was: Dataset, dataset: Dataset, policies: tuple[Policy, Policy], lineage: Lineage) -> Iterator[Asked]:
    old = {_present(dataset.id, copy.address, lineage): copy for copy in was.copies}
    for copy in dataset.copies:
        before = old.get(copy.address)
        if before is None or (before.max_age, before.proof) == (copy.max_age, copy.proof):
            continue
        turns = _turns(_of_copy(before, policies[0]), _of_copy(copy, policies[1]))
        if turns:
            yield Asked(part=Part.COPY, name=f"{dataset.id}@{copy.address}", turns=turns)


def _present(dataset: DatasetId, address: Address, lineage: Lineage) -> Address:
    """Return where a copy lies now that lay there before."""
    here = Address(volume=lineage.of_volume(address.volume)[0], path=address.path)
    moved = (to for (name, to), places in lineage.moved.items() if name == dataset and {here, address} & set(places))
    return next(moved, here)


def _of_policy(policy: Policy) -> _Criteria:
    counts = {
        "copies": policy.copies,
        "media": policy.media,
        "offsite": policy.offsite,
        "offline": policy.offline,
        "immutable": policy.immutable,
    }
    found: dict[str, tuple[str, float | None]] = {
        name: (str(count), float(count)) for name, count in counts.items() if count is not None
    }
    found |= _age_and_proof(policy.max_age, policy.proof)
    if policy.headroom is not None:
        found["headroom"] = (format_duration(policy.headroom), policy.headroom.total_seconds())
    for name, span in (("drill", policy.drill), ("restore_within", policy.restore_within)):
        if span is not None:
            found[name] = (format_duration(span), -span.total_seconds())
    if policy.dump_size is not None:
        found["dump_size"] = (format_share(policy.dump_size), policy.dump_size)
    if policy.shrinkage is not None:
        found["shrinkage"] = (format_share(policy.shrinkage), -policy.shrinkage)
    return found | _without_a_figure(policy)


def _without_a_figure(policy: Policy) -> dict[str, tuple[str, None]]:
    parts = {"keep": policy.keep, "rhythm": policy.rhythm, "verify": policy.verify}
    found = {name: (str(part), None) for name, part in parts.items() if part is not None}
    return found | {criterion.name: (criterion.text, None) for criterion in policy.unjudged}


def _of_copy(copy: Copy, policy: Policy) -> _Criteria:
    return _age_and_proof(copy.max_age or policy.max_age, policy.proof if copy.proof is None else copy.proof)


def _age_and_proof(max_age: timedelta, proof: Proof) -> dict[str, tuple[str, float | None]]:
    age = (format_duration(max_age), -max_age.total_seconds())
    return {"max_age": age, "proof": (proof.word, float(proof))}


def _turns(old: _Criteria, new: _Criteria) -> tuple[Turn, ...]:
    return tuple(
        Turn(
            what=name,
            before=old[name][0] if name in old else None,
            now=new[name][0] if name in new else None,
            tighter=_tighter(old.get(name), new.get(name)),
        )
        for name in dict.fromkeys((*old, *new))
        if old.get(name) != new.get(name)
    )


def _tighter(old: tuple[str, float | None] | None, new: tuple[str, float | None] | None) -> bool | None:
    if old is None or new is None:
        return new is not None
    return None if old[1] is None or new[1] is None else new[1] > old[1]
