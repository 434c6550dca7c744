"""What is to be retired, as it was typed: devices, volumes, and the owner's word on what need not be kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from coverage_audit.errors import UsageError
from coverage_audit.estate.addresses import parse_address, parse_volume_key
from coverage_audit.estate.model import Address, DatasetId, DeviceId, Estate, Volume, VolumeKey
from coverage_audit.estate.spelling import nearest
from coverage_audit.reckoning.parity import array_of
from coverage_audit.scenarios.driving import Replacing
from coverage_audit.scenarios.leaving import Leaving, leaving_with

_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class NotKeptWord:
    """The owner's word that what a pattern (gitignore syntax, below each volume) names need not be kept."""

    pattern: str
    who: str
    why: str

    @property
    def said(self) -> str:
        """The word in words."""
        return f"it need not be kept ({self.who}: {self.why})"


@dataclass(frozen=True, kw_only=True)
class RetireWish:
    """All that one retirement is asked.

    `filesystems` are where filesystems are mounted that no volume declares and that need not be kept (`*`: all), on
    the same word. `originals` are `DATASET=ADDRESS`. `hash_all`: read also what place, size and time show to agree.
    `replacing` are drives that are to give way, of the one volume of which drives are asked about.
    """

    targets: tuple[str, ...]
    not_kept: tuple[NotKeptWord, ...] = ()
    filesystems: tuple[NotKeptWord, ...] = ()
    originals: tuple[str, ...] = ()
    hash_all: bool = False
    replacing: Replacing | None = None


@dataclass(frozen=True, kw_only=True)
class DriveAsked:
    """A drive of a volume, by its number (from 1)."""

    volume: Volume
    number: int


def leaving_of(estate: Estate, targets: Sequence[str]) -> Leaving:
    """Return what leaves. Raises UsageError for what is not declared."""
    if not targets:
        raise UsageError("say what is to be retired: a device, a volume as device:volume, a drive as device:volume#2")
    devices, volumes, drives = set[DeviceId](), set[VolumeKey](), list[str]()
    for target in targets:
        whole, hash_sign, number = target.partition("#")
        if hash_sign:
            asked = _drive(estate.volume(_volume(estate, whole)), number)
            volumes.add(asked.volume.key)
            drives.append(_of_drive(asked))
        elif ":" in target:
            volumes.add(_volume(estate, target))
        else:
            devices.add(_device(estate, target))
    found = leaving_with(estate, devices, volumes)
    return replace(found, falls=(*drives, *found.falls))


def drives_of(estate: Estate, targets: Sequence[str]) -> tuple[DriveAsked, ...]:
    """Return the drives that are asked about, of volumes that would stay but for them. Raises UsageError as above."""
    whole = leaving_with(
        estate,
        [_device(estate, target) for target in targets if ":" not in target],
        [_volume(estate, target) for target in targets if ":" in target and "#" not in target],
    )
    found = dict[tuple[VolumeKey, int], DriveAsked]()
    for target in targets:
        key, hash_sign, number = target.partition("#")
        if hash_sign and _volume(estate, key) not in whole.volumes:
            asked = _drive(estate.volume(_volume(estate, key)), number)
            found[asked.volume.key, asked.number] = asked
    return tuple(found.values())


def originals_of(estate: Estate, words: Iterable[str], leaving: Leaving) -> dict[DatasetId, Address]:
    """Return what is named to be worked on in an original's place. Raises UsageError for what makes no sense."""
    found: dict[DatasetId, Address] = {}
    for word in words:
        name, equals, place = word.partition("=")
        if not equals:
            raise UsageError(f"--original: write DATASET=DEVICE:VOLUME/PATH, not '{word}'")
        known = [dataset.id for dataset in estate.datasets]
        if name not in known:
            raise UsageError(f"--original: there is no dataset '{name}'; {_guess(name, known)}")
        address = _read(place, parse_address, "--original: ")
        try:
            estate.volume(address.volume)
        except KeyError:
            raise UsageError(f"--original: no volume '{address.volume}' is declared") from None
        if leaving.holds(address):
            raise UsageError(f"--original: {address} leaves, too")
        if address.has_point:
            raise UsageError(f"--original: {address} is one of many recovery points, none of which is worked on")
        found[DatasetId(name)] = address
    return found


def _device(estate: Estate, target: str) -> DeviceId:
    known = [device.id for device in estate.devices]
    if target not in known:
        raise UsageError(f"there is no device '{target}' in the estate; {_guess(target, known)}")
    return DeviceId(target)


def _volume(estate: Estate, target: str) -> VolumeKey:
    key = _read(target, parse_volume_key, "")
    known = [str(volume.key) for device in estate.devices for volume in device.volumes]
    if str(key) not in known:
        raise UsageError(f"there is no volume '{key}' in the estate; {_guess(str(key), known)}")
    return key


def _drive(volume: Volume, number: str) -> DriveAsked:
    """Return one drive. Raises UsageError for one that is not declared."""
    if not (number.isdecimal() and 1 <= int(number) <= len(volume.drives)):
        known = f"its drives are #1 to #{len(volume.drives)}" if volume.drives else "its drives are not declared"
        raise UsageError(f"{volume.key} has no drive '#{number}' ({known})")
    return DriveAsked(volume=volume, number=int(number))


def _of_drive(asked: DriveAsked) -> str:
    """Say what one drive takes with it."""
    volume = asked.volume
    try:
        stands = array_of([drive.size for drive in volume.drives], volume.parity).stands
    except ValueError:
        stands = 0
    left = f"it stands {stands - 1} more losses then" if stands else "it does not stand that loss"
    return (
        f"{volume.key}#{asked.number} is a drive of {volume.key} ({left}): all that is on the volume is asked about: "
        "while a drive is out, nothing else may happen to it"
    )


def _read(text: str, parse: Callable[[str], _T], before: str) -> _T:
    try:
        return parse(text)
    except ValueError as error:
        raise UsageError(f"{before}{error}") from None


def _guess(name: str, known: Sequence[str]) -> str:
    guess = nearest(name, known)
    return f"did you mean '{guess}'?" if guess else f"the estate has: {', '.join(known)}"
