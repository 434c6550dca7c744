"""Waivers: what an owner accepted for a while is still there, and still something to accept.

What it asks: that each waiver is for a finding which some audit still answers, and which is still open.

Why: a waiver that outlived its finding hides nothing today. It would lie in wait for whatever comes under that name
next, and nobody would remember who said so.

How to mend: end it, by `coverage-audit waive FINDING --end`; or leave it be until its time ends.

The control: NIST SP 800-53 Rev. 5 CP-2 (a plan that is kept up to date).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.evidence.manifest import Manifest
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.conclusions import conclude, conclude_estate
from coverage_audit.judgement.conclusions import waived as waived_of
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding, JudgedDataset, JudgedEstate
from coverage_audit.judgement.waiving import ASKED, UNKNOWN, Stake, Waiver, waived, why_awake
from coverage_audit.judgement.wording import age, last_day, when

RULE = Rule(
    id="waivers",
    title="Waivers that are still needed",
    control=supports("NIST SP 800-53 Rev. 5 CP-2"),
    doc=__doc__ or "",
    waivable=False,
)

UNNEEDED: Final = timedelta(days=30)
"""So long a waived finding may conform before its waiver is reported: it may well come back."""

REPLACED: Final = "another waiver stands in its place"
"""Why a waiver ends where another is given for the same finding, or where two findings become one."""


@dataclass(frozen=True, kw_only=True)
class Fate:
    """What becomes of a waiver: its finding's id now, why it ended (None: it stands), since when it is unneeded."""

    number: int
    name: str
    ended: str | None
    unneeded_since: datetime | None


@dataclass(frozen=True, kw_only=True)
class Accepted:
    """An audit judged under the owner's waivers, and what became of these."""

    judged: JudgedEstate
    fates: tuple[Fate, ...]


def with_waivers(judged: JudgedEstate, waivers: Iterable[Waiver]) -> Accepted:
    """Put the waivers on the findings that they are for (by `name`), and conclude anew.

    Nothing else changes: each finding stays, and every other keeps its answer. Of several of one name the last holds.
    """
    given = sorted(waivers, key=lambda one: one.number)
    standing = {waiver.name: waiver for waiver in given}
    if not standing:
        return Accepted(judged=judged, fates=())
    datasets = tuple(_of_dataset(dataset, standing, judged) for dataset in judged.datasets)
    fates = tuple(fate for waiver in standing.values() if (fate := _fate(waiver, judged)) is not None)
    fates += tuple(
        Fate(number=waiver.number, name=waiver.name, ended=REPLACED, unneeded_since=None)
        for waiver in given
        if waiver is not standing[waiver.name]
    )
    own = tuple(_under(finding, standing, judged, UNKNOWN) for finding in judged.findings)
    own += tuple(_reports(judged, standing, fates))
    return Accepted(
        judged=replace(
            judged,
            datasets=datasets,
            findings=own,
            conclusion=conclude_estate((dataset.conclusion for dataset in datasets), own),
            waived=waived_of(own) + sum(dataset.waived for dataset in datasets),
        ),
        fates=fates,
    )


def _of_dataset(dataset: JudgedDataset, standing: Mapping[str, Waiver], judged: JudgedEstate) -> JudgedDataset:
    findings = tuple(_under(finding, standing, judged, _stake(dataset)) for finding in dataset.findings)
    return replace(dataset, findings=findings, conclusion=conclude(findings), waived=waived_of(findings))


def _under(finding: Finding, standing: Mapping[str, Waiver], judged: JudgedEstate, stake: Stake) -> Finding:
    waiver = standing.get(finding.id)
    if waiver is None:
        return finding
    return waived(finding, waiver, judged.finished, stake, ZoneInfo(judged.time_zone))


def _stake(dataset: JudgedDataset) -> Stake:
    seen = dataset.original.evidence
    tree = seen.tree if isinstance(seen.tree, Manifest) else seen.as_of
    return Stake(
        exposed=dataset.exposure.bytes if dataset.exposure else None, whole=tree.census.bytes if tree else None
    )


def _fate(waiver: Waiver, judged: JudgedEstate) -> Fate | None:
    """Say what becomes of a waiver (None: an audit of some datasets did not ask for its finding)."""
    answered = [(finding, stake) for finding, stake in _answered(judged) if finding.id == waiver.name]
    if not answered and not judged.whole:
        return None
    open_now = [(finding, stake) for finding, stake in answered if finding.answer in ASKED]
    reasons = (why_awake(finding, waiver, judged.finished, stake) for finding, stake in open_now)
    ended = next((reason for reason in reasons if reason), None)
    if not open_now and judged.finished >= waiver.until:
        ended = "its time has ended"
    unneeded = None if open_now else waiver.unneeded_since or judged.finished
    return Fate(number=waiver.number, name=waiver.name, ended=ended, unneeded_since=unneeded)


def _answered(judged: JudgedEstate) -> Iterator[tuple[Finding, Stake]]:
    for dataset in judged.datasets:
        for finding in dataset.findings:
            yield finding, _stake(dataset)
    for finding in judged.findings:
        yield finding, UNKNOWN


def _reports(judged: JudgedEstate, standing: Mapping[str, Waiver], fates: Iterable[Fate]) -> Iterator[Finding]:
    """Observe each waiver for what no audit answers any more, or what has conformed for long."""
    answered = {finding.id for finding, _ in _answered(judged)}
    for fate in fates:
        if fate.ended is not None or fate.unneeded_since is None:
            continue
        if fate.name not in answered:
            said = "no audit answers it any more: its subject left the estate, or nothing asks for it"
            yield _report(standing[fate.name], "for a finding that is gone", said, judged)
        elif judged.finished - fate.unneeded_since >= UNNEEDED:
            since = when(fate.unneeded_since, ZoneInfo(judged.time_zone))
            said = f"it is not open any more since {since}, {age(fate.unneeded_since, judged.finished)}"
            yield _report(standing[fate.name], "for a finding that is mended", said, judged)


def _report(waiver: Waiver, measured: str, said: str, judged: JudgedEstate) -> Finding:
    zone = ZoneInfo(judged.time_zone)
    until = last_day(waiver.until, zone)
    who, why = visible(waiver.who), visible(waiver.why)
    return Finding(
        rule=RULE.id,
        subject=waiver.name,
        answer=Answer.OBSERVATION,
        measured=measured,
        required="each waiver for a finding that is still open",
        message=f"{waiver.name} is waived until {until} by {who} (“{why}”), and {said}.",
        mend=f"End it: coverage-audit waive {waiver.name} --end.",
        evidence=(
            EvidenceItem(
                what=f"waived by {who}: “{why}”", where=waiver.name, at=waiver.given, how="as it stands in the ledger"
            ),
        ),
        control=RULE.control,
    )
