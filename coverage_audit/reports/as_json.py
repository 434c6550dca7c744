"""The audit as one JSON object: `audit --json`, schema `coverage-audit/audit/1`.

The published schema is `config/audit.schema.json`; keys may join it, none leaves. Every text passes `visible`, so
that the output is UTF-8 whatever a file was called; a name that its visible text does not give back carries its
bytes in `path_bytes` (base64, RFC 4648 section 4).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from coverage_audit.estate.changes import said
from coverage_audit.evidence.difference import CopyComparison, Exposure, Sample
from coverage_audit.evidence.facts import Gap, IdentityCheck, PinnedFact
from coverage_audit.evidence.manifest import CompleteManifest, PartialManifest
from coverage_audit.judgement.verdict import (
    Acceptance,
    EvidenceItem,
    Finding,
    JudgedCopy,
    JudgedDataset,
    JudgedEstate,
    JudgedOriginal,
)
from coverage_audit.ledger.record import EstateEvent
from coverage_audit.reports.content_json import content_json, spoilt_json
from coverage_audit.reports.drilled_json import drilled_json
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object, path_object, tally_object
from coverage_audit.reports.rooms_json import rooms_json
from coverage_audit.reports.turnover_json import turnover_json

SCHEMA: Final = "coverage-audit/audit/1"


def audit_json(judged: JudgedEstate, events: Sequence[EstateEvent] = (), number: int | None = None) -> str:
    """Write the judged audit as one JSON object, without a newline at the end.

    `events` is what changed in the estate since the audit before, `number` the audit's in its ledger.
    """
    whole = {**_estate(judged), "number": number, "changes": [_change(event) for event in events]}
    return json_object(whole)


def _estate(judged: JudgedEstate) -> Mapping[str, Json]:
    return {
        "schema": SCHEMA,
        "estate": judged.estate,
        "time_zone": judged.time_zone,
        "started": rfc3339(judged.started),
        "finished": rfc3339(judged.finished),
        "conclusion": judged.conclusion,
        "rehearsal": judged.rehearsal,
        "whole": judged.whole,
        "waived": judged.waived,
        "datasets": [_dataset(dataset) for dataset in judged.datasets],
        "findings": [_finding(finding) for finding in judged.findings],
        "identities": [_identity(check) for check in judged.identities],
        "gaps": [_gap(gap) for gap in judged.gaps],
        "rooms": rooms_json(judged.rooms),
    }


def _change(event: EstateEvent) -> Json:
    change = event.change
    return {
        "at": rfc3339(event.at),
        "kind": change.kind,
        "part": change.part,
        "name": change.name,
        "details": [{"what": detail.what, "before": detail.before, "now": detail.now} for detail in change.details],
        "who": change.who,
        "message": said(change),
    }


def _dataset(dataset: JudgedDataset) -> Json:
    return {
        "id": dataset.id,
        "policy": dataset.policy,
        "conclusion": dataset.conclusion,
        "waived": dataset.waived,
        "original": _original(dataset.original),
        "exposure": _exposure(dataset.exposure),
        "turnover": turnover_json(dataset.original.evidence.watched),
        "copies": [_copy(copy) for copy in dataset.copies],
        "findings": [_finding(finding) for finding in dataset.findings],
    }


def _original(original: JudgedOriginal) -> Json:
    """`seen` false: the figures are those of the last complete manifest, as of `at` (None: there is none)."""
    tree = original.evidence.tree
    seen = isinstance(tree, CompleteManifest | PartialManifest)
    manifest = tree if isinstance(tree, CompleteManifest | PartialManifest) else original.evidence.as_of
    return {
        "files": manifest.census.files if manifest else None,
        "bytes": manifest.census.bytes if manifest else None,
        "at": rfc3339(manifest.origin.started) if manifest else None,
        "seen": seen,
        "standing": original.standing,
        "proof": original.proof.word,
        "reason": original.reason,
        "spoilt": original.evidence.spoilt_files,
        "spoilt_files": spoilt_json(original.evidence.spoilt),
    }


def _exposure(exposure: Exposure | None) -> Json:
    if exposure is None:
        return {"files": None, "bytes": None, "since": None, "samples": [], "oldest": []}
    return {
        "files": exposure.files,
        "bytes": exposure.bytes,
        "since": rfc3339(exposure.since),
        "samples": [_sample(sample) for sample in exposure.samples],
        "oldest": [_sample(sample) for sample in exposure.oldest],
    }


def _copy(copy: JudgedCopy) -> Json:
    return {
        "at": str(copy.address),
        "site": copy.site,
        "medium": copy.medium,
        "standing": copy.standing,
        "proof": copy.proof.word,
        "by_size": copy.by_size,
        "recovery_point": rfc3339(copy.recovery_point),
        "recovery_point_trimmed": rfc3339(copy.recovery_point_trimmed),
        "seen": rfc3339(copy.evidence.tree_at),
        "reason": copy.reason,
        "remarks": copy.remarks,
        "content": content_json(copy),
        "drill": drilled_json(copy),
        **_differences(copy.comparison),
    }


def _differences(comparison: CopyComparison | None) -> dict[str, Json]:
    """Return the figures; where the tree was not compared they are null, not zero."""
    if comparison is None:
        return {**{name: {"files": None, "bytes": None} for name in _TALLIES}, "left_out_by": [], "samples": []}
    return {
        "missing": tally_object(comparison.missing),
        "changed": tally_object(comparison.changed),
        "pending": tally_object(comparison.pending),
        "held_back": tally_object(comparison.held_back),
        "extra": tally_object(comparison.extra),
        "left_out": tally_object(comparison.left_out),
        "left_out_by": [
            {"pattern": pattern, "files": tally.files, "bytes": tally.bytes}
            for pattern, tally in comparison.left_out_by
        ],
        "samples": [_sample(sample) for sample in comparison.samples],
    }


_TALLIES: Final = ("missing", "changed", "pending", "held_back", "extra", "left_out")


def _sample(sample: Sample) -> Json:
    return {**path_object(sample.path), "class": sample.row_class, "verdict": sample.verdict, "bytes": sample.size}


def _finding(finding: Finding) -> Json:
    return {
        "id": finding.id,
        "rule": finding.rule,
        "subject": finding.subject,
        "answer": finding.answer,
        "measured": finding.measured,
        "required": finding.required,
        "message": finding.message,
        "mend": finding.mend,
        "control": finding.control,
        "evidence": [_item(item) for item in finding.evidence],
        "waiver": _acceptance(finding.acceptance),
    }


def _acceptance(acceptance: Acceptance | None) -> Json:
    if acceptance is None:
        return None
    return {
        "who": acceptance.who,
        "why": acceptance.why,
        "given": rfc3339(acceptance.given),
        "until": rfc3339(acceptance.until),
        "answer": acceptance.answer,
    }


def _item(item: EvidenceItem) -> Json:
    return {"what": item.what, "where": item.where, "at": rfc3339(item.at), "how": item.how}


def _identity(check: IdentityCheck) -> Json:
    return {
        "volume": str(check.volume),
        "state": check.state,
        "trusted": check.trusted,
        "pinned": [_fact(fact) for fact in check.pinned],
        "seen": [_fact(fact) for fact in check.seen],
        "differences": check.differences,
        "newly_shown": check.newly_shown,
    }


def _fact(fact: PinnedFact) -> Json:
    return {"name": fact.name, "value": fact.value}


def _gap(gap: Gap) -> Json:
    return {"subject": gap.subject, "kind": gap.kind, "detail": gap.detail, "at": rfc3339(gap.at)}
