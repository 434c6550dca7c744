"""What `verify` prints: of each copy what reading its content has shown, as text or as one JSON object."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.rules import content
from coverage_audit.judgement.verdict import Answer, Finding, JudgedDataset, JudgedEstate
from coverage_audit.judgement.wording import when
from coverage_audit.reports.content_json import content_json, spoilt_json
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object
from coverage_audit.reports.plain import Paper

SCHEMA: Final = "coverage-audit/verify/1"
_COLUMN: Final = 16


def verified_text(judged: JudgedEstate, *, width: int, colour: bool) -> str:
    """Write it, `width` columns wide, ending with a newline."""
    paper, zone = Paper(width=width, colour=colour), ZoneInfo(judged.time_zone)
    return "\n".join(_lines(judged, paper, zone)) + "\n"


def verified_json(judged: JudgedEstate) -> str:
    """Write it as one JSON object, schema `coverage-audit/verify/1` (`config/verify.schema.json`)."""
    return json_object(
        {
            "schema": SCHEMA,
            "estate": judged.estate,
            "started": rfc3339(judged.started),
            "finished": rfc3339(judged.finished),
            "datasets": [_dataset(dataset) for dataset in judged.datasets],
        }
    )


def content_findings(judged: JudgedEstate) -> tuple[Finding, ...]:
    """Return what the rule of content answered."""
    return tuple(finding for dataset in judged.datasets for finding in _of(dataset))


def _of(dataset: JudgedDataset) -> tuple[Finding, ...]:
    return tuple(finding for finding in dataset.findings if finding.rule == content.RULE.id)


def _lines(judged: JudgedEstate, paper: Paper, zone: ZoneInfo) -> Iterator[str]:
    yield from paper.wrapped(f"{visible(judged.estate)}: content read at {when(judged.started, zone)}.")
    for dataset in judged.datasets:
        yield from paper.heading(f"{dataset.id} ({dataset.policy})")
        found = _of(dataset)
        if not found:
            yield from paper.wrapped("No copy of it could be read.")
        for finding in found:
            yield from paper.worded(finding.answer, finding.message, indent=0, column=_COLUMN)
            if finding.answer is not Answer.CONFORMITY and finding.mend:
                yield from paper.wrapped(f"To mend: {finding.mend}", indent=_COLUMN)


def _dataset(dataset: JudgedDataset) -> Json:
    original = dataset.original.evidence
    return {
        "id": dataset.id,
        "original": {"spoilt": original.spoilt_files, "spoilt_files": spoilt_json(original.spoilt)},
        "copies": [
            {"at": str(copy.address), "proof": copy.proof.word, "content": content_json(copy)}
            for copy in dataset.copies
        ],
        "findings": [
            {"id": finding.id, "answer": finding.answer, "message": finding.message} for finding in _of(dataset)
        ],
    }
