"""Undeclared data: what lies on a declared volume belongs to a dataset, or is said to be not worth keeping.

What it asks: of each declared volume, that no more than `undeclared_above` bytes lie outside every dataset, copy and
`not_kept:` pattern, by a survey of the whole volume that is no older than `survey_every`. What could not be read is
unknown, and leaves the answer open. Filesystems that no volume declares are observed when they hold as much.

Why: what was never declared is never compared, and nobody notices that it exists once only until it is gone.

How to mend: declare it (`coverage-audit survey DEVICE --draft` writes the lines), or say under `not_kept:` who decided
that it need not be kept, and why.

The control: NIST SP 800-53 Rev. 5 CM-8 (an inventory that is complete).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Final

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.surveyed import SurveySummary, Unclaimed, UndeclaredFilesystem, VolumeLook
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import mount_subject, volume_subject
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import amount, duration, joined, when
from coverage_audit.reckoning.undeclared import is_system

RULE = Rule(
    id="undeclared-data",
    title="Undeclared data",
    control=supports("NIST SP 800-53 Rev. 5 CM-8"),
    doc=__doc__ or "",
)

_GRACE: Final = timedelta(days=2)
"""How much later than due a survey may come before its age is held against it: two nights that failed."""

_NAMED: Final = 3


def check(context: EstateContext) -> Iterable[Finding]:
    """Answer for each surveyed volume; observe each large filesystem that no volume declares."""
    known = context.undeclared
    if known is None:
        return
    for look in known.looks:
        yield _of_volume(look, context)
    if context.estate.rehearsal:
        return
    for filesystem in known.filesystems:
        used = filesystem.used or 0
        if used > context.estate.limits.undeclared_above and not is_system(filesystem.filesystem.target):
            yield _of_filesystem(filesystem, used, context)


def _of_volume(look: VolumeLook, context: EstateContext) -> Finding:
    limits, survey = context.estate.limits, look.survey
    above = limits.undeclared_above
    why = f" ({visible(str(look.gap))})" if look.gap is not None else ""
    if survey is None:
        said = f"{look.volume} was never surveyed{why}: what lies there outside every dataset is unknown."
        return _finding(look, Answer.UNVERIFIED, "never surveyed", said, context)
    at = when(survey.at, context.estate.time_zone)
    measured = f"{amount(survey.unclaimed)} unclaimed on {at}"
    if survey.unclaimed.bytes > above:
        said = (
            f"{look.volume} holds {amount(survey.unclaimed)} that no dataset claims{_largest(survey)} "
            f"(surveyed {at}{why})."
        )
        return _finding(look, Answer.NONCONFORMITY, measured, said, context)
    old = context.finished - survey.at
    if look.attached and old > limits.survey_every + _GRACE:
        said = f"{look.volume} was last surveyed {duration(old)} ago{why}: what has come since is unknown."
        return _finding(look, Answer.UNVERIFIED, f"surveyed {duration(old)} ago", said, context)
    if survey.blind_places:
        named = joined(f"“{visible(place.path) or '/'}”" for place in survey.blind[:_NAMED])
        more = f" and {survey.blind_places - _NAMED} more" if survey.blind_places > _NAMED else ""
        said = (
            f"On {look.volume} no dataset claims what lies in {named}{more}, and it could not be read: "
            f"its size is unknown (surveyed {at})."
        )
        return _finding(look, Answer.UNVERIFIED, f"{measured}, {survey.blind_places} places unreadable", said, context)
    said = f"{look.volume}: {amount(survey.unclaimed)} lie outside every dataset (surveyed {at}{why})."
    return _finding(look, Answer.CONFORMITY, measured, said, context)


def _largest(survey: SurveySummary) -> str:
    named = [_named(one) for one in survey.largest[:_NAMED]]
    return f", most of it in {joined(named)}" if named else ""


def _named(one: Unclaimed) -> str:
    folder = f"“{visible(one.folder)}/”" if one.folder else "the volume's own folder"
    return f"{folder}{' itself' if one.loose and one.folder else ''} ({format_size(one.tally.bytes)})"


def _finding(look: VolumeLook, answer: Answer, measured: str, message: str, context: EstateContext) -> Finding:
    device = look.volume.device
    return Finding(
        rule=RULE.id,
        subject=volume_subject(look.volume),
        answer=answer,
        measured=measured,
        required=f"at most {format_size(context.estate.limits.undeclared_above)} outside every dataset",
        message=message,
        mend=(
            f"See what it is: coverage-audit survey {device}. Declare it (add --draft for the lines to write), or name "
            "it under not_kept: with who says so and why."
        ),
        evidence=(
            EvidenceItem(
                what=measured,
                where=str(look.volume),
                at=look.survey.at if look.survey else None,
                how="the whole volume walked and held against all that is declared",
            ),
        ),
        control=RULE.control,
        degree=float(look.survey.unclaimed.bytes) if look.survey else None,
    )


def _of_filesystem(found: UndeclaredFilesystem, used: int, context: EstateContext) -> Finding:
    seen = found.filesystem
    target = visible(seen.target)
    beside = f"; only a part of it is declared ({joined(map(str, found.partly))})" if found.partly else ""
    said = f"{format_size(used)} used on “{target}” ({visible(seen.source)}, {visible(seen.filesystem_type)})"
    return Finding(
        rule=RULE.id,
        subject=mount_subject(found.device, seen.target),
        answer=Answer.OBSERVATION,
        measured=said,
        required="every filesystem that holds data declared as a volume",
        message=f"{found.device} has a filesystem mounted that no volume declares: {said}{beside}.",
        mend=f"If data worth keeping lies there, declare it: coverage-audit survey {found.device} --draft.",
        evidence=(EvidenceItem(what=said, where=str(found.device), at=context.finished, how="its mount table"),),
        control=RULE.control,
    )
