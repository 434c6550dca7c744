"""A survey as one JSON object: `survey --json`, schema `coverage-audit/survey/1` (`config/survey.schema.json`).

Every text passes `visible`; a folder that its visible text does not give back carries its bytes in `folder_bytes`.
"""

from __future__ import annotations

from typing import Final

from coverage_audit.audits.surveying import Surveyed
from coverage_audit.evidence.surveyed import Cell, Share, Unclaimed, UndeclaredFilesystem, VolumeSurvey
from coverage_audit.evidence.visible import visible
from coverage_audit.reckoning.folder_tree import tree_of, unclaimed_in
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object, path_object, tally_object

SCHEMA: Final = "coverage-audit/survey/1"


def survey_json(surveyed: Surveyed) -> str:
    """Write the survey as one JSON object, without a newline at the end."""
    told: Json = {
        "schema": SCHEMA,
        "volumes": [_volume(survey) for survey in surveyed.surveys],
        "filesystems": [_filesystem(found) for found in surveyed.filesystems],
        "gaps": [
            {"subject": visible(gap.subject), "kind": gap.kind, "detail": visible(gap.detail), "at": rfc3339(gap.at)}
            for gap in surveyed.gaps
        ],
        "filesystems_unseen": [{"device": device, "why": visible(why)} for device, why in surveyed.unseen],
    }
    return json_object(told)


def _volume(survey: VolumeSurvey) -> Json:
    return {
        "volume": str(survey.volume),
        "at": rfc3339(survey.at),
        "depth": survey.depth,
        "total": tally_object(survey.of(*Share)),
        **{share.name.lower(): tally_object(survey.of(share)) for share in Share},
        "unclaimed_folders": [_unclaimed(one) for one in unclaimed_in(tree_of(survey.cells))],
        "cells": [_cell(cell) for cell in survey.cells],
        "unreadable": [{**path_object(place.path, "folder"), "why": visible(place.why)} for place in survey.blind],
    }


def _unclaimed(one: Unclaimed) -> Json:
    return {**path_object(one.folder, "folder"), "loose": one.loose, **tally_object(one.tally)}


def _cell(cell: Cell) -> Json:
    holder = cell.holder
    return {
        **path_object(cell.folder, "folder"),
        "share": holder.share,
        "name": visible(holder.name),
        "role": holder.role,
        "who": visible(holder.who),
        "why": visible(holder.why),
        **tally_object(cell.tally),
    }


def _filesystem(found: UndeclaredFilesystem) -> Json:
    seen = found.filesystem
    return {
        "device": found.device,
        "target": visible(seen.target),
        "source": visible(seen.source),
        "type": visible(seen.filesystem_type),
        "uuid": None if seen.uuid is None else visible(seen.uuid),
        "capacity": seen.capacity,
        "free": seen.free,
        "used": found.used,
        "network": seen.is_network,
        "partly": [str(volume) for volume in found.partly],
    }
