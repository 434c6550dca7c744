"""A retirement as one JSON object: `retire --json`, schema `coverage-audit/retire/1` (`config/retire.schema.json`).

Every text passes `visible`; a path that its visible text does not give back carries its bytes in `path_bytes`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from coverage_audit.audits.retirement import Retirement
from coverage_audit.evidence.elsewhere import Held, LoneFile
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object, path_object, tally_object
from coverage_audit.reports.retire_drives import drives_list

SCHEMA: Final = "coverage-audit/retire/1"
MOST_LISTED: Final = 100_000
"""So many files stand in each list; `total` beside it counts all."""


def retire_json(found: Retirement) -> str:
    """Write a retirement as one JSON object, without a newline at the end."""
    return json_object(told(found))


def told(found: Retirement) -> Json:
    """Return what the JSON object holds."""
    return {**_concluded(found), **_files_by_class(found), **_rests_on(found)}


def _concluded(found: Retirement) -> dict[str, Json]:
    return {
        "schema": SCHEMA,
        "verdict": found.verdict.value,
        "estate": found.estate,
        "rehearsal": found.rehearsal,
        "devices": [*found.devices] or sorted({str(volume.device) for volume in found.volumes}),
        "asked": [*found.asked],
        "volumes": [str(volume) for volume in found.volumes],
        "falls_with_it": [*found.falls],
        "started": rfc3339(found.started),
        "finished": rfc3339(found.finished),
        "breaks": [
            {"dataset": one.dataset, "rule": one.rule, "message": one.message, "mend": one.mend, "proven": one.proven}
            for one in found.breaks
        ],
        "not_observed": [{"what": one.what, "why": one.why, "blocks": one.blocks} for one in found.not_observed],
        "steps": [*found.steps],
        "drives": drives_list(found),
        "datasets": [
            {
                "id": one.dataset,
                "touched": one.touched,
                "before": one.before.value,
                "after": one.after.value if one.after else None,
                "original": str(one.original) if one.original else None,
                "original_moved": one.moved,
            }
            for one in found.datasets
        ],
    }


def _files_by_class(found: Retirement) -> dict[str, Json]:
    held, left = found.elsewhere, found.reading.left
    return {
        "only_here": _files(held.lone, Held.ONLY_HERE),
        "only_here_total": tally_object(held.of(Held.ONLY_HERE)),
        "by_listing_only": {
            **tally_object(held.of(Held.BY_LISTING, Held.BY_SIZE)),
            "seconds": None if left is None else round(left.total_seconds()),
            "same_place_size_and_time": tally_object(held.of(Held.BY_LISTING)),
            "same_size": tally_object(held.of(Held.BY_SIZE)),
            "paths": _files(held.lone, Held.BY_LISTING, Held.BY_SIZE),
        },
        "perhaps_elsewhere": {**tally_object(held.of(Held.PERHAPS)), "paths": _files(held.lone, Held.PERHAPS)},
        "held_elsewhere": tally_object(held.of(Held.CONTENT)),
        "classes": _classes(found),
        "not_kept": [
            {
                "pattern": one.pattern,
                "who": one.who,
                "why": one.why,
                **tally_object(one.tally),
                "of_datasets": tally_object(one.claimed),
            }
            for one in held.not_kept
        ],
    }


def _rests_on(found: Retirement) -> dict[str, Json]:
    return {
        "filesystems_not_kept": [
            {"target": one.pattern, "who": one.who, "why": one.why} for one in found.filesystems_not_kept
        ],
        "changed_meanwhile": [_named(str(volume), path) for volume, path in found.changed[:MOST_LISTED]],
        "spoilt": [{"at": str(one.at), "path_hex": one.path.hex()} for one in found.reading.spoilt],
        "walked": [
            {
                "volume": str(one.volume),
                "stays": one.stays,
                "at": rfc3339(one.at),
                "how": one.how,
                "files": one.files,
                "bytes": one.bytes,
            }
            for one in found.walked
        ],
        "read": {
            "files": found.reading.files,
            "bytes": found.reading.bytes,
            "seconds": round(found.reading.seconds),
            "remembered": found.reading.remembered,
            "notes": [*found.reading.notes],
        },
    }


def _classes(found: Retirement) -> Json:
    kinds = found.elsewhere.kinds
    return {
        "files": tally_object(kinds.files),
        "hard_linked": tally_object(kinds.hard_linked),
        "empty": kinds.empty,
        "left_out": tally_object(kinds.left_out),
        "links": kinds.links,
        "links_out": kinds.links_out,
        "others": kinds.others,
        "folders": kinds.folders,
    }


def _files(lone: Iterable[LoneFile], *classes: Held) -> Sequence[Json]:
    chosen = [one for one in lone if one.held in classes][:MOST_LISTED]
    return [
        {
            **_named(str(one.volume), one.path),
            "bytes": one.size,
            "dataset": one.dataset,
            "left_out": one.left_out,
            "why": one.why,
        }
        for one in chosen
    ]


def _named(volume: str, path: bytes) -> dict[str, Json]:
    return {**path_object(path), "volume": volume}
