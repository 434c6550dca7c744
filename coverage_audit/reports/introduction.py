"""What `preflight` says: each device with its key, each volume with its identity, and what to do where it stops."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta

from coverage_audit.estate.access import ShelfAccess
from coverage_audit.estate.model import Device, Estate, VolumeKey
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.collected import Answer
from coverage_audit.evidence.facts import DeviceFacts, Gap, GapKind, IdentityCheck, PinState, VolumeFacts
from coverage_audit.evidence.visible import visible

_STATES = {
    PinState.PINNED_NOW: "seen for the first time: the next audit pins it",
    PinState.AS_PINNED: "as pinned",
    PinState.CHANGED: "NOT the one that was pinned",
    PinState.ASKED: "asked about",
    PinState.BY_CONTENT: "shows no identity: continuity of its content will stand for it",
    PinState.TAKEN_AS_DECLARED: "taken as declared (rehearsal)",
}


def introduction_text(
    estate: Estate, answers: Sequence[Answer], identities: Mapping[VolumeKey, IdentityCheck | Gap]
) -> str:
    """Say what every device and volume showed when it was met."""
    told = {answer.device.id: answer for answer in answers}
    lines: list[str] = []
    for device in estate.devices:
        answer = told.get(device.id)
        lines += ["", *(_on_the_shelf(device) if answer is None else _device(device, answer))]
        if answer is not None:
            shown = {facts.volume: facts for facts in answer.volumes if isinstance(facts, VolumeFacts)}
            for volume in device.volumes:
                lines += _volume(volume.key, shown.get(volume.key), identities.get(volume.key))
    return "\n".join(lines) + "\n"


def _on_the_shelf(device: Device) -> Iterator[str]:
    if isinstance(device.access, ShelfAccess):
        yield f"{device.id}: on the shelf: plug it in and record it with `coverage-audit manifest`"


def _device(device: Device, answer: Answer) -> Iterator[str]:
    facts = answer.facts
    if isinstance(facts, Gap):
        yield f"{device.id}: did not answer: {visible(str(facts))}"
        if facts.kind is GapKind.HOST_KEY:
            yield f"  compare the key with the box itself, then: coverage-audit preflight --trust-key {device.id}"
        return
    yield f"{device.id}: answered {'on this machine' if facts.over == 'local' else 'over SSH'}{_clock(facts)}"
    if facts.host_key:
        yield f"  host key    {facts.host_key}"
    if facts.machine_id:
        yield f"  machine id  {visible(facts.machine_id)}{' (shows itself to be a guest)' if facts.is_guest else ''}"


def _clock(facts: DeviceFacts) -> str:
    if facts.clock_offset is None or facts.over == "local":
        return ""
    seconds = facts.clock_offset / timedelta(seconds=1)
    return f", its clock {abs(seconds):.1f} s {'ahead' if seconds >= 0 else 'behind'}"


def _volume(key: VolumeKey, facts: VolumeFacts | None, check: IdentityCheck | Gap | None) -> Iterator[str]:
    if facts is None or check is None or isinstance(check, Gap):
        why = visible(str(check)) if isinstance(check, Gap) else "it was not shown"
        yield f"  {key}: not seen: {why}"
        return
    yield f"  {key}: {_STATES[check.state]}"
    yield f"    path        {visible(facts.path)}{_room(facts)}"
    for fact in check.seen:
        yield f"    {fact.name.replace('_', ' '):<18}{visible(fact.value)}"
    for difference in check.differences:
        yield f"    ! {visible(difference)}"
    if check.state is PinState.CHANGED:
        yield f"    if this change was meant: coverage-audit preflight --accept {key}"
    if check.state is PinState.ASKED:
        yield "    mount the volume; or, if it is meant to lie there, declare `on_root: true` in the estate"


def _room(facts: VolumeFacts) -> str:
    if facts.capacity is None or facts.free is None:
        return ""
    return f" ({format_size(facts.free)} free of {format_size(facts.capacity)})"
