"""Feasibility: whether the copies as declared can ever meet their policy, told before anything is walked.

What it asks: that the places declared, were all of them proven, are enough devices, kinds of medium, other sites
and offline volumes for the policy; and that no more than dates is asked of a copy that has nothing else to show.

Why: a policy that cannot be met fails every night for a reason that no night's evidence can mend.

How to mend: declare the further copy, or put the policy right.

The control: NIST SP 800-53 Rev. 5 CP-2 (the plan gives recovery objectives that can be met).
"""

from __future__ import annotations

from collections.abc import Iterator

from coverage_audit.estate.model import Address, Copy, Dataset, Estate, Policy, Proof
from coverage_audit.judgement.hosting import declared_to_stand_on, shared
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import criterion_subject, place_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import duration
from coverage_audit.reckoning.independent_set import largest_independent_set

RULE = Rule(
    id="feasibility",
    title="A policy that can be met",
    control=supports("NIST SP 800-53 Rev. 5 CP-2"),
    doc=__doc__ or "",
)


def cannot_be_met(estate: Estate) -> tuple[Finding, ...]:
    """Return what the declared copies can never meet, of all datasets; nothing is asked of any box."""
    return tuple(finding for dataset in estate.datasets for finding in of_dataset(dataset, estate))


def of_dataset(dataset: Dataset, estate: Estate) -> Iterator[Finding]:
    """Give one finding a criterion of the dataset's policy that its places can never meet."""
    yield from _too_few(dataset, estate)
    yield from _opaque(dataset, estate)
    yield from _evidence_older_than_asked(dataset, estate)


def _too_few(dataset: Dataset, estate: Estate) -> Iterator[Finding]:
    policy = estate.policy(dataset.policy)
    able = (copy.address for copy in dataset.copies if not _never_enough(copy, policy))
    places = (dataset.original, *able)
    home = estate.device(dataset.original.volume.device).site
    away = [place for place in places if estate.device(place.volume.device).site != home]
    offline = [place for place in places if estate.volume(place.volume).offline]
    figures = (
        ("copies", policy.copies, _most_apart(places, estate), "apart from each other"),
        ("media", policy.media, len({estate.volume(place.volume).medium for place in places}), "by kind of medium"),
        ("offsite", policy.offsite, _most_apart(away, estate), "at another site"),
        ("offline", policy.offline, _most_apart(offline, estate), "offline"),
    )
    for criterion, required, most, what in figures:
        if required is not None and most < required:
            yield _finding(
                criterion_subject(dataset.id, criterion),
                Answer.NONCONFORMITY,
                figures=(f"at most {most} {what}, as declared", f"at least {required}"),
                message=f"The policy “{policy.id}” asks for `{criterion}: {required}`; "
                f"as declared, {dataset.id} can never have more than {most} {what}.",
                degree=float(required - most),
            )


def _most_apart(places: tuple[Address, ...] | list[Address], estate: Estate) -> int:
    """Count the largest set of places of which no two fall together by declaration alone."""
    bases = [declared_to_stand_on(place.volume, estate) for place in places]
    joined = [
        frozenset(j for j, second in enumerate(bases) if i != j and shared(first, second))
        for i, first in enumerate(bases)
    ]
    return len(largest_independent_set(joined))


def _never_enough(copy: Copy, policy: Policy) -> bool:
    """Whether more is asked of a copy than its dates, and they are all that it can ever show."""
    return copy.is_opaque and (copy.proof if copy.proof is not None else policy.proof) > Proof.DATED


def _opaque(dataset: Dataset, estate: Estate) -> Iterator[Finding]:
    policy = estate.policy(dataset.policy)
    for copy in dataset.copies:
        if _never_enough(copy, policy):
            asked = copy.proof if copy.proof is not None else policy.proof
            yield _finding(
                place_subject(dataset.id, copy.address),
                Answer.OBSERVATION,
                figures=("“dated” at most: none of its points is a tree", f"“{asked.word}”"),
                message=f"{copy.address} can be asked for its recovery points alone, and “{asked.word}” is asked: "
                "it can never be counted. Where dates are enough, say `proof: dated`.",
            )


def _evidence_older_than_asked(dataset: Dataset, estate: Estate) -> Iterator[Finding]:
    """Remark on a device that may be off for longer than its copy may be old: in that time nothing shows its age."""
    for copy in dataset.copies:
        limit = copy.max_age or estate.policy(dataset.policy).max_age
        allowed = estate.device(copy.address.volume.device).may_be_off
        if allowed is not None and allowed > limit:
            yield _finding(
                place_subject(dataset.id, copy.address),
                Answer.OBSERVATION,
                figures=(f"its device may be off for {duration(allowed)}", f"not older than {duration(limit)}"),
                message=f"{copy.address} may be off for {duration(allowed)}, longer than the {duration(limit)} "
                "that it may be behind: while it is off, what comes to the original makes it stale.",
            )


def _finding(
    subject: str, answer: Answer, *, figures: tuple[str, str], message: str, degree: float | None = None
) -> Finding:
    measured, required = figures
    return Finding(
        rule=RULE.id,
        subject=subject,
        answer=answer,
        measured=measured,
        required=required,
        message=message,
        mend="Declare the further copy, or put the policy right.",
        evidence=(EvidenceItem(what=measured, where="the estate file", at=None, how="reckoned from what is declared"),),
        control=RULE.control,
        degree=degree,
    )
