"""What the page prints of datasets: their copies, findings and evidence, as text that only needs placing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from coverage_audit.estate.model import Estate
from coverage_audit.estate.units import format_duration
from coverage_audit.evidence.difference import CopyComparison, Sample, Tally
from coverage_audit.evidence.manifest import CompleteManifest, PartialManifest
from coverage_audit.judgement.verdict import (
    Answer,
    Finding,
    JudgedCopy,
    JudgedDataset,
    JudgedOriginal,
    Standing,
)
from coverage_audit.judgement.wording import amount
from coverage_audit.reports.exposed import ExposedView, exposed_view
from coverage_audit.reports.page_words import Clock, Moment
from coverage_audit.reports.present import site_name
from coverage_audit.reports.situation import by_weight


@dataclass(frozen=True, kw_only=True)
class ItemView:
    """One piece of evidence."""

    what: str
    where: str
    how: str
    at: Moment | None


@dataclass(frozen=True, kw_only=True)
class FindingView:
    """One finding."""

    finding: Finding
    since: Moment | None
    evidence: tuple[ItemView, ...]


@dataclass(frozen=True, kw_only=True)
class PlaceView:
    """An original or a copy, as one row of a dataset's table."""

    address: str
    role: str
    site: str
    medium: str
    standing: Standing
    proof: str
    back: Moment | None
    back_trimmed: Moment | None
    max_age: str | None
    reason: str
    remarks: tuple[str, ...]
    figures: tuple[tuple[str, str], ...]
    samples: tuple[Sample, ...]


@dataclass(frozen=True, kw_only=True)
class DatasetView:
    """One dataset with everything that is known of it. `holds` None: the original was never yet seen whole."""

    dataset: JudgedDataset
    holds: str | None
    exposed: ExposedView
    exposed_since: Moment | None
    places: tuple[PlaceView, ...]
    open: tuple[FindingView, ...]
    settled: tuple[FindingView, ...]


def dataset_view(
    dataset: JudgedDataset, max_ages: Sequence[timedelta], estate: Estate, since: Mapping[str, datetime], clock: Clock
) -> DatasetView:
    """Prepare one dataset; `max_ages` are those of its copies, in their order."""
    views = findings_view(dataset.findings, since, clock)
    exposure = dataset.exposure
    return DatasetView(
        dataset=dataset,
        holds=_holds(dataset.original),
        exposed=exposed_view(exposure, _whole(dataset.original), clock.zone),
        exposed_since=clock.maybe(exposure.since) if exposure and exposure.files else None,
        places=(
            _original(dataset.original, dataset.left_out, estate, clock),
            *(_copy(copy, limit, estate, clock) for copy, limit in zip(dataset.copies, max_ages, strict=True)),
        ),
        open=tuple(view for view in views if view.finding.answer is not Answer.CONFORMITY),
        settled=tuple(view for view in views if view.finding.answer is Answer.CONFORMITY),
    )


def findings_view(
    findings: tuple[Finding, ...], since: Mapping[str, datetime], clock: Clock
) -> tuple[FindingView, ...]:
    """Prepare findings, those first that fail."""
    return tuple(
        FindingView(
            finding=finding,
            since=clock.maybe(since.get(finding.id)),
            evidence=tuple(
                ItemView(what=item.what, where=item.where, how=item.how, at=clock.maybe(item.at))
                for item in finding.evidence
            ),
        )
        for finding in by_weight(findings)
    )


def _manifest(original: JudgedOriginal) -> CompleteManifest | PartialManifest | None:
    tree = original.evidence.tree
    return tree if isinstance(tree, CompleteManifest | PartialManifest) else original.evidence.as_of


def _holds(original: JudgedOriginal) -> str | None:
    whole = _whole(original)
    return None if whole is None else amount(whole)


def _whole(original: JudgedOriginal) -> Tally | None:
    manifest = _manifest(original)
    return None if manifest is None else Tally(files=manifest.census.files, bytes=manifest.census.bytes)


def _original(original: JudgedOriginal, left_out: Tally, estate: Estate, clock: Clock) -> PlaceView:
    place, manifest = original.evidence.place, _manifest(original)
    return PlaceView(
        address=str(manifest.origin.address) if manifest else str(place.volume.key),
        role="original",
        site=site_name(estate, place.device),
        medium=place.volume.medium,
        standing=original.standing,
        proof=original.proof.word,
        back=clock.maybe(manifest.origin.started) if manifest else None,
        back_trimmed=None,
        max_age=None,
        reason=original.reason,
        remarks=(),
        figures=(("left out by patterns", amount(left_out)),) if left_out.files else (),
        samples=(),
    )


def _copy(copy: JudgedCopy, limit: timedelta, estate: Estate, clock: Clock) -> PlaceView:
    trimmed = copy.recovery_point_trimmed
    return PlaceView(
        address=str(copy.address),
        role="copy",
        site=site_name(estate, copy.evidence.place.device),
        medium=copy.medium,
        standing=copy.standing,
        proof=f"{copy.proof.word}, by size" if copy.by_size else copy.proof.word,
        back=clock.maybe(copy.recovery_point),
        back_trimmed=clock.maybe(trimmed) if trimmed != copy.recovery_point else None,
        max_age=format_duration(limit),
        reason=copy.reason,
        remarks=copy.remarks,
        figures=(*_figures(copy.comparison), *_content(copy)),
        samples=copy.comparison.samples if copy.comparison else (),
    )


def _content(copy: JudgedCopy) -> tuple[tuple[str, str], ...]:
    told = (("content", copy.content), ("drill", copy.drill))
    return tuple((name, said) for name, said in told if said)


def _figures(comparison: CopyComparison | None) -> tuple[tuple[str, str], ...]:
    """Name each figure that is not zero; where the tree was not compared there is none."""
    if comparison is None:
        return ()
    found = (
        ("missing", comparison.missing),
        ("changed", comparison.changed),
        ("of these pending", comparison.pending),
        ("of these held back", comparison.held_back),
        ("extra", comparison.extra),
        ("left out", comparison.left_out),
    )
    return tuple((name, amount(tally)) for name, tally in found if tally.files)
