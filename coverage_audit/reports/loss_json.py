"""What is lost as one JSON object: `loss --json`, schema `coverage-audit/loss/1`.

The published schema is `config/loss.schema.json`; keys may join it, none leaves. Sizes are bytes, durations seconds,
instants RFC 3339; every text passes `visible`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final

from coverage_audit.estate.changes import EstateChange, said
from coverage_audit.evidence.difference import Tally
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object, tally_object
from coverage_audit.reports.loss_json_drive import drive_object
from coverage_audit.scenarios.cut_set import CutMember, DatasetCuts
from coverage_audit.scenarios.link_load import LinkLoad
from coverage_audit.scenarios.loss import AlsoFalls, BelowPolicy, DatasetLoss, Loss, LossTable, Place, Restore

SCHEMA: Final = "coverage-audit/loss/1"


def loss_json(table: LossTable, changes: Sequence[EstateChange] = (), loads: Sequence[LinkLoad] = ()) -> str:
    """Write it as one JSON object, without a newline at the end."""
    return json_object(
        {
            "schema": SCHEMA,
            "estate": table.estate,
            "rehearsal": table.rehearsal,
            "as_of": rfc3339(table.as_of),
            "at": rfc3339(table.at),
            "declared_since": [said(change) for change in changes],
            "unjudged": list(table.unjudged),
            "losses": [_loss(loss) for loss in table.losses],
            "cut_sets": [_cuts(cuts) for cuts in table.cuts],
            "links": [_link(load) for load in loads],
            "assumptions": list(table.assumptions),
        }
    )


def _link(load: LinkLoad) -> Json:
    return {
        "device": str(load.device.id),
        "bits_a_second": load.device.link,
        "datasets": [str(dataset) for dataset in load.datasets],
        "growth_a_day": load.upload.change,
        "takes_at_least": _seconds(load.upload.takes),
        "fits": load.fits,
        "whole": load.upload.whole,
        "first_copy_at_least": _seconds(load.upload.first),
        "size_not_known": [str(dataset) for dataset in load.unsized],
        "growth_not_known": [str(dataset) for dataset in load.ungauged],
        "assumptions": list(load.upload.assumptions),
    }


def _loss(loss: Loss) -> Json:
    return {
        "domain": str(loss.domain),
        "kind": loss.domain.kind.value,
        "devices": [str(device) for device in loss.devices],
        "volumes": [str(volume) for volume in loss.volumes],
        "also": [_also(one) for one in loss.also],
        "survives": [_also(one) for one in loss.survives],
        "datasets": [_dataset(dataset) for dataset in loss.datasets],
        "untouched": [str(dataset) for dataset in loss.untouched],
        "keys": [{"volume": str(key.volume), "elsewhere": list(key.elsewhere)} for key in loss.keys],
        "order": [str(dataset) for dataset in loss.order],
        "back_at_least": _seconds(loss.back),
        "not_reckoned": [str(dataset) for dataset in loss.not_reckoned],
        "drive": None if loss.drive is None else drive_object(loss.drive),
        "assumptions": list(loss.assumptions),
    }


def _also(one: AlsoFalls) -> Json:
    return {"name": one.name, "why": one.why}


def _dataset(loss: DatasetLoss) -> Json:
    return {
        "id": str(loss.dataset),
        "policy": loss.policy,
        "fate": loss.fate.name.lower(),
        "original_gone": loss.original_gone,
        "size": _tally(loss.size),
        "left_out": _tally(loss.left_out),
        "gone": [_place(place) for place in loss.gone],
        "left": [_place(place) for place in loss.left],
        "best": None if loss.best is None else str(loss.best.address),
        "not_held": _tally(loss.not_held),
        "since": rfc3339(loss.since),
        "since_trimmed": rfc3339(loss.since_trimmed),
        "exposed": None if loss.exposed is None else {"files": loss.exposed.files, "bytes": loss.exposed.bytes},
        "below_policy": [_below(one) for one in loss.below],
        "conclusion": loss.conclusion.value,
        "restore": None if loss.restore is None else _restore(loss.restore),
        "restore_within": _seconds(loss.restore_within),
    }


def _place(place: Place) -> Json:
    return {
        "at": str(place.address),
        "site": str(place.site),
        "original": place.is_original,
        "standing": place.standing.value,
        "proof": place.proof.word,
        "holds": place.holds.name.lower(),
        "recovery_point": rfc3339(place.recovery_point),
        "not_held": _tally(place.not_held),
        "why": place.why,
        "encrypted": place.encrypted,
        "key_kept": list(place.key_kept),
        "key_gone": place.key_gone,
    }


def _below(one: BelowPolicy) -> Json:
    return {
        "rule": one.finding.rule,
        "answer": one.finding.answer.value,
        "before": None if one.before is None else one.before.value,
        "new": one.is_new,
        "measured": one.finding.measured,
        "required": one.finding.required,
        "message": one.finding.message,
    }


def _restore(restore: Restore) -> Json:
    time = restore.time
    return {
        "from": str(restore.source),
        "bytes": restore.bytes,
        "at_least": None if time is None else _seconds(time.time),
        "fetching": None if time is None else _seconds(time.fetching),
        "measured": time is not None and time.measured,
        "slowest": None if time is None else time.bottleneck.what,
        "bytes_a_second": None if time is None else int(time.bottleneck.rate),
        "assumptions": [] if time is None else list(time.assumptions),
    }


def _cuts(cuts: DatasetCuts) -> Json:
    return {
        "dataset": str(cuts.dataset),
        "shown": cuts.shown,
        "at_most": cuts.at_most,
        "sets": [
            {"order": one.order, "certain": one.certain, "failures": [_member(member) for member in one.members]}
            for one in cuts.sets
        ],
        "not_counted": [str(address) for address in cuts.not_counted],
    }


def _member(member: CutMember) -> Json:
    return {"needed": member.needed, "any_of": [str(domain) for domain in member.domains]}


def _tally(tally: Tally | None) -> Json:
    return None if tally is None else tally_object(tally)


def _seconds(span: timedelta | None) -> Json:
    return None if span is None else span // timedelta(seconds=1)
