"""What was read back out of a copy, as part of a JSON object (`drill` of a copy; null: that is not known)."""

from __future__ import annotations

from coverage_audit.evidence.drilling import Drill
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import JudgedCopy
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, tally_object


def drilled_json(copy: JudgedCopy) -> Json:
    """Write what is known of a copy's drills."""
    known = copy.evidence.drills
    if known is None:
        return None
    said = known.by_hand
    hand: Json = None
    if said is not None:
        hand = {"at": rfc3339(said.at), "who": visible(said.who or ""), "what": visible(said.what or "")}
    return {
        "statement": copy.drill,
        "newest": _measured(known.newest),
        "restored": _measured(known.restored),
        "damaged": _measured(known.standing_damage),
        "by_hand": hand,
    }


def _measured(drill: Drill | None) -> Json:
    if drill is None:
        return None
    return {
        "at": rfc3339(drill.at),
        "outcome": drill.outcome,
        "chosen": drill.chosen,
        "restored": tally_object(drill.restored),
        "damaged": tally_object(drill.damaged),
        "unread": drill.unread,
        "bytes_per_second": None if drill.rate is None else round(drill.rate),
    }
