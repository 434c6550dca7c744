"""What `drill` says: how many files came back, by which way and how fast, and what did not. Plain text and JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final
from zoneinfo import ZoneInfo

from coverage_audit.audits.drilling import Drilled
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.drilling import LEAST_MEASURED, Drill, DrillOutcome
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import amount, files, joined, when
from coverage_audit.reports.instants import rfc3339
from coverage_audit.reports.json_object import Json, json_object, path_object, tally_object

SCHEMA: Final = "coverage-audit/drill/1"
_SHOWN: Final = 20
_SAID: Final = {
    DrillOutcome.RESTORED: "what was read back is what it should be",
    DrillOutcome.DAMAGED: "DAMAGED: not all that was read back is what it should be",
    DrillOutcome.INCOMPLETE: "this does not show that the copy can be read back",
    DrillOutcome.BY_HAND: "declared, not measured",
}


def drill_text(drilled: Drilled, zone: ZoneInfo) -> str:
    """Say what came of a drill."""
    drill = drilled.drill
    lines = [f"passed over: {visible(said)}" for said in drilled.passed_over]
    lines += list(_lines(drill, drilled.held))
    if drilled.is_encrypted:
        lines.append(
            "  the copy is encrypted: its bytes came back as they are stored; that it can be opened is not shown"
        )
    lines += [f"  {visible(one.path)}: {one.fate} ({visible(one.why)})" for one in drill.incidents[:_SHOWN]]
    if len(drill.incidents) > _SHOWN:
        lines.append(f"  and {len(drill.incidents) - _SHOWN} more")
    lines.append(f"{drill.copy}: {_SAID[drill.outcome]}")
    lines += _not_shown(drill)
    lines.append(f"recorded, as of {when(drill.at, zone)}")
    return "\n".join(lines) + "\n"


def by_hand_text(drill: Drill, zone: ZoneInfo) -> str:
    """Say what was recorded of a drill by hand."""
    said = f"{drill.copy}: by hand, by word of {visible(drill.who or '')}: {visible(drill.what or '')}"
    return f"{said}\n{_SAID[drill.outcome]}; recorded, as of {when(drill.at, zone)}\n"


def drill_json(drill: Drill, drilled: Drilled | None = None) -> str:
    """Write a drill as one JSON object, without a newline at the end."""
    told: Json = {
        "schema": SCHEMA,
        "dataset": drill.dataset,
        "copy": str(drill.copy),
        "point": drill.point,
        "at": rfc3339(drill.at),
        "outcome": drill.outcome,
        "held": None if drilled is None else drilled.held,
        "chosen": drill.chosen,
        "named": drill.named,
        "drawn": drill.drawn,
        "damaged_before": drill.again,
        "outstanding": None if drill.outstanding is None else len(drill.outstanding),
        "random": drill.is_random,
        "restored": tally_object(drill.restored),
        "damaged": tally_object(drill.damaged),
        "unread": drill.unread,
        "changed_meanwhile": drill.changed,
        "nothing_to_hold_against": drill.unheld,
        "held_against_originals": drill.by_originals,
        "read_bytes": drill.read,
        "milliseconds": round(1000 * drill.seconds),
        "bytes_per_second": None if drill.rate is None else round(drill.rate),
        "way": drill.way,
        "encrypted": drilled is not None and drilled.is_encrypted,
        "incidents": [{**path_object(one.path), "fate": one.fate, "why": one.why} for one in drill.incidents],
        "passed_over": [] if drilled is None else list(drilled.passed_over),
        "who": drill.who,
        "what": drill.what,
    }
    return json_object(told)


def _lines(drill: Drill, held: int) -> Iterator[str]:
    point = f", point “{visible(drill.point)}”" if drill.point is not None else ""
    chosen = f"{files(drill.drawn)} drawn from {held:,}".replace(",", " ") if drill.drawn else ""
    named = f"{files(drill.named)} named" if drill.named else ""
    before = f"{files(drill.again)} that a drill found damaged before" if drill.again else ""
    yield f"{drill.dataset} from {drill.copy}{point}: {joined(list(filter(None, (chosen, named, before))))}"
    yield f"  restored {amount(drill.restored)}{_against(drill)}"
    counts = (
        (drill.damaged.files, f"damaged ({format_size(drill.damaged.bytes)}): held, and not what they should be"),
        (drill.unread, "could not be read back"),
        (drill.changed, "not counted: changed meanwhile"),
        (drill.unheld, "not counted: nothing to hold them against"),
    )
    yield from (f"  {files(count)} {what}" for count, what in counts if count)
    yield f"  {_rate(drill)}"


def _not_shown(drill: Drill) -> Iterator[str]:
    """Say what a drill leaves open."""
    left = len(drill.outstanding or ()) - drill.damaged.files
    if left > 0:
        yield f"{files(left)} that drills found damaged before came back right in none since"
    if drill.outcome is DrillOutcome.RESTORED and not drill.is_random:
        yield (
            f"this is no drill of the copy as a whole: {files(drill.drawn)} drawn at random, {drill.drawn_back} "
            f"restored, and at least {drill.least} are asked"
        )


def _against(drill: Drill) -> str:
    stored = drill.restored.files - drill.by_originals
    both = [f"{drill.by_originals} by their originals as they are now"] if drill.by_originals else []
    both += [f"{stored} by what is stored of them"] if stored else []
    said = " and ".join(both)
    return f", {said}" if said else ""


def _rate(drill: Drill) -> str:
    took = f"{format_size(drill.read)} read {drill.way} in {drill.seconds:.1f} s"
    if drill.rate is None:
        return f"{took}: less than {format_size(LEAST_MEASURED)}, too little to tell a rate"
    return f"{took}: {format_size(round(drill.rate))} a second"
