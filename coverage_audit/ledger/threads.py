"""A finding's thread: under which ids it was answered before its subject was renamed or moved."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from urllib.parse import unquote

from coverage_audit.estate.addresses import parse_address, parse_volume_key
from coverage_audit.estate.former import Lineage
from coverage_audit.estate.model import DatasetId, DeviceId
from coverage_audit.judgement import subjects
from coverage_audit.ledger.transitions import Found, Stood


def former_ids(found: Found, lineage: Lineage) -> tuple[str, ...]:
    """Return all ids under which a finding may have been answered before, its present one not among them."""
    finding = found.finding
    try:
        former = tuple(_former(finding.subject, lineage, of_dataset=found.dataset is not None))
    except ValueError:  # a subject that names no part of the estate
        return ()
    return tuple(f"{finding.rule}:{subject}" for subject in dict.fromkeys(former) if subject != finding.subject)


def followed(
    stood: Mapping[str, Stood], found: Mapping[str, Found], lineage: Lineage
) -> tuple[dict[str, Stood], dict[str, str]]:
    """Return what stood before under the names of now, and which former ids go on under which.

    Where several findings are one now, it began when the first of them did.
    """
    now, renamed = dict(stood), dict[str, str]()
    for name, answer in found.items():
        former = [old for old in former_ids(answer, lineage) if old in now and old not in found]
        if former:
            every = [now.pop(old) for old in former]
            renamed.update(dict.fromkeys(former, name))
            now[name] = _earliest([now[name], *every] if name in now else every)
    return now, renamed


def _earliest(stood: Iterable[Stood]) -> Stood:
    every = list(stood)
    begun = [one.since for one in every if one.since is not None]
    first = next((one for one in every if one.since is not None), every[0])
    return replace(first, since=min(begun)) if begun else first


def _former(subject: str, lineage: Lineage, *, of_dataset: bool) -> Iterator[str]:
    """Go through what a subject may have been called; raises ValueError where it names no part of the estate."""
    if of_dataset:
        yield from _of_dataset(subject, lineage)
    elif ":" in subject:
        for volume in lineage.of_volume(parse_volume_key(unquote(subject))):
            yield subjects.volume_subject(volume)
    else:
        for device in lineage.of_device(DeviceId(unquote(subject))):
            yield subjects.device_subject(device)


def _of_dataset(subject: str, lineage: Lineage) -> Iterator[str]:
    name, placed, place = subject.partition("@")
    quoted, slash, criterion = name.partition("/")
    dataset = DatasetId(unquote(quoted))
    for former in lineage.of_dataset(dataset):
        if placed:
            address = parse_address(unquote(place, errors="surrogateescape"))
            for old in lineage.of_place(dataset, address):
                yield subjects.place_subject(former, old)
        elif slash:
            yield subjects.criterion_subject(former, unquote(criterion))
        else:
            yield subjects.dataset_subject(former)
