"""Headroom: no volume that holds the dataset is full within the time that its policy asks for.

What it asks: the policy's `headroom`, of each volume that holds the original or a copy. At the present pace (the
median of the growth of all pairs of days, Theil-Sen; of the last two or four weeks alone where these grow faster than
the whole, and higher than ever) neither its bytes nor its inodes are used up before then. What was
moved in or out at once is room in use, but no pace. Where only the early end of the interval (95 %) lies before then,
or no growth is shown for sure, that is observed, and fails nothing. What a copy lacks must fit into what is free. In
the first days of a volume nothing is known yet, and that is said.

Why: a copy that has no room left takes nothing up, and often goes on looking like one that does.

How to mend: make room or a larger volume, or keep fewer recovery points there. After a drive was swapped the history
begins anew; a volume that shows no room of its own cannot meet this criterion.

The control: NIST SP 800-53 Rev. 5 CP-9 a-c (backups go on being made at the set frequency).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from coverage_audit.estate.model import Address, VolumeKey
from coverage_audit.judgement.context import DatasetContext
from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.judgement.forecast_words import room
from coverage_audit.judgement.outlook import outlook
from coverage_audit.judgement.room_now import Outlook
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.subjects import place_subject
from coverage_audit.judgement.verdict import EvidenceItem, Finding
from coverage_audit.judgement.wording import duration

RULE = Rule(
    id="headroom",
    title="Headroom of volumes",
    control=supports("NIST SP 800-53 Rev. 5 CP-9"),
    doc=__doc__ or "",
)


def check(context: DatasetContext) -> Iterable[Finding]:
    """Answer for each volume on which the dataset lies, if its policy asks."""
    asked = context.policy.headroom
    if asked is None:
        return
    places = (context.dataset.original, *(copy.address for copy in context.copies))
    for volume in dict.fromkeys(place.volume for place in places):
        yield _finding(context, volume, outlook(context, volume, asked), asked)


def _finding(context: DatasetContext, volume: VolumeKey, found: Outlook, asked: timedelta) -> Finding:
    return Finding(
        rule=RULE.id,
        subject=place_subject(context.dataset.id, Address(volume=volume, path="")),
        answer=found.answer,
        measured=found.measured,
        required=f"not full within {duration(asked)}",
        message=f"{volume}: {found.said}.",
        mend=found.mend,
        evidence=_evidence(context.rooms.get(volume)),
        control=RULE.control,
        kind=found.kind,
    )


def _evidence(forecast: RoomForecast | None) -> tuple[EvidenceItem, ...]:
    if forecast is None:
        return ()
    how = f"shown by the box; {forecast.days} days of history"
    return (EvidenceItem(what=room(forecast), where=str(forecast.volume), at=forecast.last.at, how=how),)
