"""What was found when a volume was last surveyed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, insert, select

from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.manifest import Blind
from coverage_audit.evidence.surveyed import SurveySummary, Unclaimed
from coverage_audit.ledger.tables import SURVEYS

_TALLIES = ("claimed", "not_kept", "litter", "unclaimed")


def last_survey(connection: Connection, volume: VolumeKey, formerly: Sequence[DeviceId]) -> SurveySummary | None:
    """Return the newest survey of a volume, under its device's own id or else the latest former one."""
    for device in (volume.device, *formerly):
        row = connection.execute(
            select(SURVEYS.c.at, SURVEYS.c.body)
            .where(SURVEYS.c.device == device, SURVEYS.c.volume == volume.volume)
            .order_by(SURVEYS.c.at.desc(), SURVEYS.c.id.desc())
        ).first()
        if row is not None:
            body: Mapping[str, Any] = row.body
            return SurveySummary(
                volume=volume,
                at=row.at,
                declared=body["declared"],
                **{name: Tally(files=body[name][0], bytes=body[name][1]) for name in _TALLIES},
                largest=tuple(
                    Unclaimed(folder=bytes.fromhex(folder), tally=Tally(files=files, bytes=octets), loose=loose)
                    for folder, files, octets, loose in body["largest"]
                ),
                blind=tuple(Blind(path=bytes.fromhex(path), why=why) for path, why in body["blind"]),
                blind_places=body["blind_places"],
            )
    return None


def write_surveys(connection: Connection, surveys: Iterable[SurveySummary], audit: int | None) -> None:
    """Write surveys; `audit` is None for those made by themselves."""
    for survey in surveys:
        tallies = {name: getattr(survey, name) for name in _TALLIES}
        body = {
            "declared": survey.declared,
            **{name: [tally.files, tally.bytes] for name, tally in tallies.items()},
            "largest": [[one.folder.hex(), one.tally.files, one.tally.bytes, one.loose] for one in survey.largest],
            "blind": [[place.path.hex(), place.why] for place in survey.blind],
            "blind_places": survey.blind_places,
        }
        connection.execute(
            insert(SURVEYS).values(
                audit=audit, device=survey.volume.device, volume=survey.volume.volume, at=survey.at, body=body
            )
        )
