"""What to do, most at stake first: which copy to make, where there is room for it, how long it takes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from coverage_audit.audits.retirement import NotObserved, Retirement
from coverage_audit.audits.retiring_looking import Looked
from coverage_audit.estate.model import DatasetId, Estate, VolumeKey
from coverage_audit.estate.units import format_duration, format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.elsewhere import Elsewhere, Held
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.rules.enough_copies import RULE as COUNTING
from coverage_audit.judgement.wording import amount, joined
from coverage_audit.reckoning.restoring import limit_of_link, limit_of_medium, time_back
from coverage_audit.scenarios.retirement import Break
from coverage_audit.scenarios.staying import Stays

_WORTH_SAYING: Final = timedelta(seconds=1)
_MOST_NAMED: Final = 10


@dataclass(frozen=True, kw_only=True)
class Room:
    """A volume that stays, with its free bytes (None: not shown)."""

    volume: VolumeKey
    free: int | None


def steps_of(estate: Estate, looked: Looked, found: Retirement) -> tuple[str, ...]:
    """Return the steps in words, after all that was found. Without any the verdict is clear."""
    elsewhere, reading = found.elsewhere, found.reading
    steps = [_copy_step(estate, looked, *each) for each in _only_here(elsewhere)]
    again = " ".join(("coverage-audit retire", *found.asked))
    steps += _of_breaks(one for one in found.breaks if one.proven)
    rest = elsewhere.of(Held.BY_LISTING, Held.BY_SIZE)
    if rest.files:
        long = reading.left is not None and reading.left >= _WORTH_SAYING
        how_long = f" It takes about {format_duration(reading.left)}." if long and reading.left else ""
        steps.append(
            f"The content of {amount(rest)} was not seen on both sides. Read it: {again} --hash all.{how_long}"
        )
    perhaps = elsewhere.of(Held.PERHAPS)
    if perhaps.files:
        steps.append(
            f"{amount(perhaps)} may be held by a place that was not seen in this audit: switch it on or plug it in, "
            f"then: {again}"
        )
    steps += _of_unseen(one for one in found.not_observed if one.blocks)
    steps += _of_doubts(one for one in found.breaks if not one.proven)
    if found.changed:
        steps.append(f"{len(found.changed)} files changed while it was audited: end what writes there, then: {again}")
    return tuple(steps)


def _of_breaks(breaks: Iterable[Break]) -> Iterable[str]:
    """Say in one step all that breaks of one dataset, each rule in brackets, then how to mend it, each way once."""
    for name, own in _by_dataset(breaks):
        said = "; ".join(f"{one.message.rstrip('.')} ({one.rule})" for one in own)
        mends = dict.fromkeys(one.mend for one in own if one.mend)
        yield " ".join((f"{name} would not conform: {said}.", *mends))


def _of_doubts(breaks: Iterable[Break]) -> Iterable[str]:
    """Say in one step what of a dataset cannot be told: most of it has one reason, which counting the copies names."""
    for name, own in _by_dataset(breaks):
        first = next((one for one in own if one.rule == COUNTING.id), own[0])
        others = [one.rule for one in own if one is not first]
        more = f" Nor can {joined(others)} be told (--json says why)." if others else ""
        said = f"Whether {name} would conform cannot be told: {first.message.rstrip('.')} ({first.rule})."
        yield f"{said} {first.mend}".rstrip() + more


def _by_dataset(breaks: Iterable[Break]) -> Iterable[tuple[str, Sequence[Break]]]:
    found = defaultdict[DatasetId | None, list[Break]](list)
    for one in breaks:
        found[one.dataset].append(one)
    return [(dataset or "the estate itself", own) for dataset, own in found.items()]


def _of_unseen(unseen: Iterable[NotObserved]) -> Iterable[str]:
    """Say in one step all that was not seen for one reason."""
    alike = defaultdict[tuple[str, str], list[str]](list)
    for one in unseen:
        alike[one.why, one.mend].append(one.what)
    for (why, mend), named in alike.items():
        more = f", and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
        yield f"{', '.join(named[:_MOST_NAMED])}{more}: {why.rstrip('.')}. {mend}"


def _only_here(elsewhere: Elsewhere) -> Iterable[tuple[DatasetId | None, VolumeKey, Tally]]:
    found = defaultdict[tuple[DatasetId | None, VolumeKey], Tally](Tally)
    for one in elsewhere.lone:
        if one.held is Held.ONLY_HERE:
            found[one.dataset, one.volume] += Tally(files=1, bytes=one.size)
    for (dataset, volume), tally in sorted(found.items(), key=lambda pair: -pair[1].bytes):
        yield dataset, volume, tally


def _copy_step(estate: Estate, looked: Looked, dataset: DatasetId | None, volume: VolumeKey, tally: Tally) -> str:
    whose = f"of {dataset}" if dataset else "that no dataset claims"
    step = f"Copy {amount(tally)} {whose} from {volume}, which nothing else is shown to hold"
    waive = "" if dataset else " Or say that they need not be kept: --not-kept PATTERN, --who, --why."
    room = _room_for(estate, looked, dataset, tally.bytes)
    if room is None:
        return f"{step}. No volume that stays is shown to have room for them: make room first.{waive}"
    free = f" ({format_size(room.free)} free)" if room.free is not None else ""
    return f"{step}, to {room.volume}{free}.{_time(estate, volume, room.volume, tally.bytes)}{waive}"


def _room_for(estate: Estate, looked: Looked, dataset: DatasetId | None, size: int) -> Room | None:
    """Return where there is room: on a volume that holds the dataset already, else where there is most."""
    own = {copy.address.volume for copy in estate.dataset(dataset).copies} if dataset else set[VolumeKey]()
    rooms = []
    for key, stay in looked.stays.items():
        facts = looked.sighting.volumes.get(key)
        if stay.stays is Stays.STAYS and isinstance(facts, VolumeFacts) and not facts.read_only:
            rooms.append(Room(volume=key, free=facts.free))
    fit = [room for room in rooms if room.free is None or room.free > size]
    return max(fit, key=lambda room: (room.volume in own, room.free or 0), default=None)


def _time(estate: Estate, source: VolumeKey, target: VolumeKey, size: int) -> str:
    if source.device != target.device and not (estate.device(source.device).link or estate.device(target.device).link):
        return f" How long it takes is not known without the `link` of {source.device} and {target.device}."
    limits = []
    for key in (source, target):
        device, volume = estate.device(key.device), estate.volume(key)
        if device.link is not None:
            limits.append(limit_of_link(device.id, device.link))
        medium = limit_of_medium(str(key), volume.medium)
        limits += [medium] if medium is not None else []
    found = time_back(size, limits)
    if found is None or found.time < _WORTH_SAYING:
        return ""
    return f" It takes at least {format_duration(found.time)} ({found.bottleneck.what})."
