"""One failure: nothing that several devices share takes everything that is shown to hold the dataset.

What it asks: where the policy wants two copies or more, that for every room, power feed, admin account or whatever
else `failure_domains` names, some place outside it is shown to hold the dataset, be it an older state. A copy that is
offline or shown to be immutable survives the admin accounts of its own box, not those of a host; what the original's
box has mounted to write falls with that box's accounts; an encrypted copy falls with the last place that keeps its key.
That a whole site or a single box takes everything is an observation here: `offsite` and `copies` answer for these.

Why: copies on different devices are counted apart. One fire in the room where all of them stand takes them together,
and one stolen password erases all that it can write to.

How to mend: keep one copy outside what they share, or one that is offline or immutable where that is an account. Where
two things bear one name and are not one, name them apart in `failure_domains`.

The control: NIST SP 800-53 Rev. 5 CP-6(1) and CP-9(3) (separation from the primary site; storage elsewhere).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.domains import Domain, DomainKind, in_words
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.stakes import Stake, stakes_of
from coverage_audit.judgement.subjects import dataset_subject
from coverage_audit.judgement.telling import standings
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import joined, shortened

RULE = Rule(
    id="one-failure",
    title="No single failure takes everything",
    control=supports("NIST SP 800-53 Rev. 5 CP-6(1) and CP-9(3)"),
    doc=__doc__ or "",
)

_NAMED: Final = 6


def check(context: DatasetContext) -> Iterable[Finding]:
    """Look for a failure after which nothing is left that is shown to hold the dataset."""
    stakes = stakes_of(context)
    shown = [stake for stake in stakes if stake.holds.shown]
    certain = _taking([stake for stake in stakes if stake.holds.may], context, perhaps=False)
    perhaps = [domain for domain in _taking(shown, context, perhaps=True) if domain not in certain]
    answer = _answer(context, certain, perhaps)
    if not shown:
        answer = Answer.OBSERVATION
    well = answer is Answer.CONFORMITY
    yield Finding(
        rule=RULE.id,
        subject=dataset_subject(context.dataset.id),
        answer=answer,
        measured="nothing is shown to hold it" if not shown else _names([*certain, *perhaps]),
        required="none that takes all that is shown to hold it",
        message=_message(context, certain, perhaps, shown),
        mend="" if well else "Keep a copy outside of what they share; where that is an account, one that is offline.",
        evidence=(*_why([*certain, *perhaps][:1], stakes), *standings(context)),
        control=RULE.control,
        degree=float(sum(_is_asked(domain, context) for domain in (*certain, *perhaps))),
    )


def _taking(stakes: Sequence[Stake], context: DatasetContext, *, perhaps: bool) -> tuple[Domain, ...]:
    """Return the single failures that take every one of these places; with `perhaps`, those that may.

    Those that break the policy come first, then the widest.
    """
    every = {domain for stake in stakes for domain in stake.domains()}
    found = [d for d in every if all(stake.lost_by(frozenset({d}), perhaps=perhaps) for stake in stakes)]
    return tuple(sorted(found, key=lambda domain: (not _is_asked(domain, context), -domain.breadth, domain.name)))


def _why(domains: Iterable[Domain], stakes: Iterable[Stake]) -> Iterator[EvidenceItem]:
    """Yield why each place falls with what takes them all."""
    for domain in domains:
        for stake in stakes:
            why = stake.falls.certain.get(domain) or stake.falls.perhaps.get(domain)
            if why:
                what = f"falls with {in_words(domain)}: {why}"
                yield EvidenceItem(
                    what=what, where=str(stake.address), at=None, how="as declared, and as boxes show it"
                )


def _answer(context: DatasetContext, certain: Sequence[Domain], perhaps: Sequence[Domain]) -> Answer:
    if any(_is_asked(domain, context) for domain in certain):
        return Answer.NONCONFORMITY
    if any(_is_asked(domain, context) for domain in perhaps):
        return Answer.UNVERIFIED
    return Answer.OBSERVATION if certain or perhaps else Answer.CONFORMITY


def _is_asked(domain: Domain, context: DatasetContext) -> bool:
    return context.policy.copies >= 2 and domain.kind in {DomainKind.SHARED, DomainKind.ACCOUNT}


def _names(domains: Sequence[Domain]) -> str:
    if not domains:
        return "no single failure"
    more = f" and {len(domains) - _NAMED} more" if len(domains) > _NAMED else ""
    return ", ".join(str(domain) for domain in domains[:_NAMED]) + more


def _message(
    context: DatasetContext, certain: Sequence[Domain], perhaps: Sequence[Domain], shown: Sequence[Stake]
) -> str:
    name = context.dataset.id
    if not shown:
        return f"Nothing is shown to hold {name}, so nothing is known of what one failure leaves of it."
    if not certain and not perhaps:
        return f"No single failure takes all that is shown to hold {name}."
    parts = []
    if certain:
        parts.append(f"Everything that you have of {name} is lost with {_said(certain)}")
    if perhaps:
        parts.append(f"{'A' if not certain else 'a'}ll that is shown to hold {name} may be lost with {_said(perhaps)}")
    return "; ".join(parts) + "."


def _said(domains: Sequence[Domain]) -> str:
    """Say the widest failures; those within them are seen from these."""
    return joined(shortened([in_words(domain) for domain in domains], _NAMED), by="or")
