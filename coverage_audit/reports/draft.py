"""The estate file with what a survey found put in: it loads as it is, and its comments say what is to be chosen."""

from __future__ import annotations

from coverage_audit.audits.surveying import Surveyed
from coverage_audit.estate.access import Access
from coverage_audit.estate.addresses import parse_address, parse_volume_path
from coverage_audit.estate.drafting import Entry, id_of, quoted, with_entries
from coverage_audit.estate.model import Address, Estate, VolumeKey
from coverage_audit.estate.units import format_size
from coverage_audit.evidence.facts import MountedFilesystem
from coverage_audit.evidence.surveyed import Unclaimed, VolumeSurvey
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.wording import amount, when
from coverage_audit.reckoning.claims import Claims, claims_on
from coverage_audit.reckoning.folder_tree import tree_of, unclaimed_in
from coverage_audit.reckoning.undeclared import is_system

_MOST = 50
"""Folders that are drafted for each volume; the smaller ones are left to the next survey."""


def draft(estate: Estate, surveyed: Surveyed) -> str:
    """Return the text of the estate with drafted datasets and volumes. Raises EstateError for an unreadable text."""
    datasets, unwritable = _datasets(estate, surveyed)
    text = with_entries(estate.text, [*datasets, *_volumes(estate, surveyed)])
    if unwritable:
        said = ["#", "# Also claimed by no dataset, and no address can name it (move it into a folder of its own):"]
        text = "\n".join([text.rstrip("\n"), *said, *unwritable]) + "\n"
    return text


def _datasets(estate: Estate, surveyed: Surveyed) -> tuple[list[Entry], list[str]]:
    """Return datasets for the folders that nobody claims, and comments on those for which there can be none."""
    taken = {str(dataset.id) for dataset in estate.datasets}
    entries: list[Entry] = []
    unwritable: list[str] = []
    for survey in surveyed.surveys:
        claims = Claims(claims_on(estate, estate.volume(survey.volume)))
        for one in unclaimed_in(tree_of(survey.cells))[:_MOST]:
            lines = _dataset(estate, survey, one, taken) if _can_be_one(one, claims) else None
            if lines is None:
                name = visible(one.folder) or "(the volume's own folder)"
                unwritable.append(f"# {survey.volume}: {name}: {amount(one.tally)}")
            else:
                entries.append(Entry(keys=("datasets",), lines=lines))
    return entries, unwritable


def _volumes(estate: Estate, surveyed: Surveyed) -> list[Entry]:
    """Return volumes for the filesystems that nobody declares; two devices that are one machine get each once."""
    taken = {device.id: {str(volume.key.volume) for volume in device.volumes} for device in estate.devices}
    drafted: set[tuple[Access, str]] = set()
    entries: list[Entry] = []
    for found in surveyed.filesystems:
        target = found.filesystem.target
        place = (estate.device(found.device).access, target)
        if is_system(target) or found.partly or place in drafted or not _is_writable(target):
            continue
        drafted.add(place)
        name = id_of(target.rpartition("/")[2], taken[found.device])
        taken[found.device].add(name)
        entries.append(Entry(keys=("devices", found.device, "volumes"), lines=_volume(name, found.filesystem)))
    return entries


def new_estate(host: str, mounted: tuple[MountedFilesystem, ...]) -> str:
    """Return a whole new estate of this machine: a volume and a dataset for each filesystem that can hold data."""
    device = id_of(host, ())
    own = [seen for seen in mounted if not is_system(seen.target) and _is_writable(seen.target)]
    taken: set[str] = set()
    volumes: list[str] = []
    datasets: list[str] = []
    for seen in own or [MountedFilesystem(source="", target="/", filesystem_type="")]:
        name = id_of("root" if seen.target == "/" else seen.target, taken)
        taken.add(name)
        on_root = ", on_root: true" if seen.target == "/" else ""
        volumes += [
            f"      # {_room(seen)}; medium: hdd, ssd, tape, optical or hosted?",
            f"      {quoted(name)}: {{path: {quoted(seen.target)}, medium: hdd{on_root}}}",
        ]
        inner = "/home" if seen.target == "/" else ""
        datasets += [
            "  # One dataset for all of it is only a beginning: `coverage-audit survey` shows what lies there.",
            f"  {quoted(name)}:",
            "    policy: to-be-chosen",
            f"    original: {quoted(f'{device}:{name}{inner}')}",
            "    copies: []  # - at: DEVICE:VOLUME/PATH",
        ]
    return "\n".join(
        [
            "# Drafted by coverage-audit survey --draft: it loads as it is, and everything in it is to be looked at.",
            "estate: My estate",
            "time_zone: UTC  # an IANA name, e.g. Europe/Dublin",
            "sites:",
            "  here: {}",
            "devices:",
            f"  {quoted(device)}:",
            "    site: here",
            "    access: local",
            "    volumes:",
            *volumes,
            "policies:",
            "  to-be-chosen: {copies: 2, max_age: 26h}",
            "datasets:",
            *datasets,
            "",
        ]
    )


def _can_be_one(one: Unclaimed, claims: Claims) -> bool:
    return bool(one.folder) and not one.loose and not claims.holder_of(one.folder)[1]


def _dataset(estate: Estate, survey: VolumeSurvey, one: Unclaimed, taken: set[str]) -> tuple[str, ...] | None:
    address = _address(survey.volume, one.folder)
    if address is None:
        return None
    name = id_of(one.folder.rpartition(b"/")[2].decode("utf-8", "replace"), taken)
    taken.add(name)
    known = ", ".join(policy.id for policy in estate.policies)
    return (
        f"# {amount(one.tally)}, claimed by no dataset on {when(survey.at, estate.time_zone)}",
        f"{quoted(name)}:",
        f"  policy: {quoted(estate.policies[0].id)}  # to be chosen: {known}",
        f"  original: {quoted(str(address))}",
        "  copies: []  # - at: DEVICE:VOLUME/PATH",
    )


def _address(volume: VolumeKey, folder: bytes) -> Address | None:
    """Return a folder's address, None where the estate cannot write it (bytes that are no text, control characters)."""
    try:
        wanted = Address(volume=volume, path=folder.decode("utf-8"))
        return wanted if parse_address(str(wanted)) == wanted and not wanted.has_point else None
    except ValueError:  # a UnicodeDecodeError too
        return None


def _volume(name: str, seen: MountedFilesystem) -> tuple[str, ...]:
    medium = "hosted" if seen.is_network else "hdd"
    return (
        f"# {_room(seen)}; medium: hdd, ssd, tape, optical or hosted?",
        f"{quoted(name)}: {{path: {quoted(seen.target)}, medium: {medium}}}",
    )


def _is_writable(target: str) -> bool:
    try:
        return parse_volume_path(target) == target
    except ValueError:
        return False


def _room(seen: MountedFilesystem) -> str:
    words = " ".join(f"{visible(seen.filesystem_type)} {visible(seen.source)}".split()) or "the root filesystem"
    if seen.capacity is None or seen.free is None:
        return words
    return f"{words}, {format_size(seen.capacity - seen.free)} used of {format_size(seen.capacity)}"
