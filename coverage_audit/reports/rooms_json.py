"""The room of volumes with when it is used up, as JSON values of `audit --json`."""

from __future__ import annotations

from collections.abc import Sequence

from coverage_audit.judgement.forecast import RoomForecast
from coverage_audit.reckoning.filling import Filling
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json


def rooms_json(rooms: Sequence[RoomForecast]) -> Sequence[Json]:
    """Write each volume's room as it was seen last, and where the pace of its history leads (null: not known)."""
    return [
        {
            "volume": str(room.volume),
            "at": rfc3339(room.last.at),
            "capacity": room.last.capacity,
            "free": room.last.free,
            "inodes": room.last.inodes,
            "inodes_free": room.last.inodes_free,
            "days": room.days,
            "bytes_used_up": _filling(room.bytes),
            "inodes_used_up": _filling(room.inodes),
        }
        for room in rooms
    ]


def _filling(found: Filling | None) -> Json:
    """`pace` is the growth a day, in whole bytes or inodes; `reached` null: not foreseeable."""
    if found is None:
        return None
    return {
        "pace": round(found.pace),
        "reached": rfc3339(found.reached),
        "earliest": rfc3339(found.earliest),
        "latest": rfc3339(found.latest),
    }
