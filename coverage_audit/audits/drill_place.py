"""Where a copy is read back from now: its box, or the box at which its shelf drive is plugged in, and that it is it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from coverage_audit.audits.attached import found_on, uuid_of
from coverage_audit.audits.identifying import identify
from coverage_audit.audits.parts import Parts
from coverage_audit.audits.plugging import as_carried, question_at
from coverage_audit.errors import CollectionError
from coverage_audit.estate.access import LocalAccess, ShelfAccess
from coverage_audit.estate.model import Address, Device, DeviceId, Estate, Volume, VolumeKey
from coverage_audit.evidence.collected import Answer, Question
from coverage_audit.evidence.facts import Gap, IdentityCheck, VolumeFacts
from coverage_audit.evidence.visible import visible

THIS_MACHINE = DeviceId("this machine")


@dataclass(frozen=True, kw_only=True)
class ReadingPlace:
    """A place that can be read now: `device` with the way to it, `volume` with the path at which it lies there."""

    device: Device
    volume: Volume
    mounted: tuple[str | None, ...]

    def root(self, address: Address) -> str:
        """Return where an address of this volume lies on the device."""
        return self.volume.at(address.path)


def reading_place(estate: Estate, key: VolumeKey, parts: Parts) -> ReadingPlace:
    """Return where a volume can be read now.

    Raises CollectionError: its box cannot be asked, its drive is not plugged in, or it is not the one that is pinned.
    """
    device, volume = estate.device(key.device), estate.volume(key)
    if isinstance(device.access, ShelfAccess):
        device, volume = _plugged_in(estate, device, volume, parts)
    (answer,) = parts.gather([_question(estate, device, volume)])
    if isinstance(estate.device(key.device).access, ShelfAccess):
        answer = as_carried(answer)
    check = identify(estate, [answer], parts.ledger).get(key)
    if check is None or isinstance(check, Gap):
        gap = answer.facts if isinstance(answer.facts, Gap) else check
        raise CollectionError(f"{key} cannot be read now: {gap or 'it was not seen'}")
    _refuse_another(check)
    return ReadingPlace(device=device, volume=volume, mounted=_mounted(answer))


def still_the_same(estate: Estate, place: ReadingPlace, parts: Parts) -> bool:
    """Whether the same volume is mounted there as before the reading."""
    (answer,) = parts.gather([_question(estate, place.device, place.volume)])
    return any(isinstance(facts, VolumeFacts) for facts in answer.volumes) and _mounted(answer) == place.mounted


def _question(estate: Estate, device: Device, volume: Volume) -> Question:
    return Question(device=device, volumes=(volume,), trees=(), estate_zone=estate.time_zone)


def _mounted(answer: Answer) -> tuple[str | None, ...]:
    return next((facts.mounted for facts in answer.volumes if isinstance(facts, VolumeFacts)), ())


def _refuse_another(check: IdentityCheck) -> None:
    if not check.trusted:
        raise CollectionError(f"{check.volume} is not the one that is pinned: {'; '.join(check.differences)}")


def _plugged_in(estate: Estate, shelf: Device, volume: Volume, parts: Parts) -> tuple[Device, Volume]:
    """Return a shelf drive where it hangs. Raises CollectionError, which says what to plug in."""
    hosts = _hosts(estate)
    answers = parts.gather([Question(device=host, volumes=(), trees=()) for host in hosts])
    found = found_on(uuid_of(shelf, volume, parts), answers)
    if len(found) > 1:
        places = " and ".join(map(str, found))
        raise CollectionError(f"{len(found)} drives with the UUID of {volume.key} are plugged in at once: {places}")
    if not found:
        where = ", ".join(str(host.id) for host in hosts)
        raise CollectionError(
            f"{volume.key} is not plugged in: plug in the drive “{shelf.id}” and type the command again (looked for at "
            f"{where}){_unasked(answers)}"
        )
    (one,) = found
    there: Mapping[Volume, str] = {volume: one.path}
    question = question_at(estate, shelf, one.host.access, there, (), ())
    return question.device, question.volumes[0]


def _hosts(estate: Estate) -> tuple[Device, ...]:
    """Return the boxes at which a drive may hang: all that are declared, and this machine."""
    boxes = tuple(device for device in estate.devices if not isinstance(device.access, ShelfAccess))
    if any(isinstance(box.access, LocalAccess) for box in boxes):
        return boxes
    site = estate.sites[0].id
    return (*boxes, Device(id=THIS_MACHINE, site=site, access=LocalAccess(), volumes=()))


def _unasked(answers: Sequence[Answer]) -> str:
    silent = [visible(str(answer.device.id)) for answer in answers if isinstance(answer.facts, Gap)]
    return f"; what hangs on {', '.join(silent)} was not seen" if silent else ""


def carried_to(place: ReadingPlace) -> Device:
    """Return the device as its content is read: with this one volume."""
    return replace(place.device, volumes=(place.volume,))
