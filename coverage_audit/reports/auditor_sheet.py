"""The auditor's own sheet: how it is rebuilt from nothing, on paper, with the whole estate file behind it.

What it knew of the past is in its ledger; everything else is on the boxes, which it only reads. So nothing is lost
with it but the knowledge since when, and what it needs is named here: its own files with the best copy of each, every
box with the key that it must show, and what begins anew without them. The estate holds no secret, by its own rules.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from coverage_audit.comparison.own_places import Placed, placed
from coverage_audit.estate.access import LocalAccess, ShelfAccess, SshAccess
from coverage_audit.estate.model import Device, DeviceId, Estate, Kept
from coverage_audit.evidence.facts import DeviceFacts
from coverage_audit.evidence.own import OwnPart, OwnPlace, OwnPlaces
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.reports.lead import FRESH
from coverage_audit.reports.own_copies import best_copy, key_said, place_said
from coverage_audit.reports.page_words import Clock, Moment
from coverage_audit.reports.present import as_declared_now, site_name
from coverage_audit.reports.templating import render

_WITHOUT: Final = {
    OwnPart.LEDGER: "Begin without it: since when something fails is not known then, and volumes are trusted as met.",
    OwnPart.ESTATE: "Write it anew from the text at the end of this sheet.",
    OwnPart.KEYS: "Make new ones, put the public key on every box below, and take the old one out there.",
}


@dataclass(frozen=True, kw_only=True)
class OwnView:
    """One part of what is its own: where it lay, where it comes back from (None: nowhere), and what to do without."""

    part: str
    paths: tuple[str, ...]
    copy: str | None
    state: Moment | None
    standing: str
    key: str
    why_not: str
    without: str


@dataclass(frozen=True, kw_only=True)
class BoxView:
    """One box: where it is, how it is reached, and the key that it must show."""

    name: str
    where: str
    how: str
    host_key: str


def auditor_sheet(estate: Estate, own: OwnPlaces, judged: JudgedEstate | None, *, now: datetime, version: str) -> str:
    """Make the sheet out of the last audit (None: there is none). Raises ReportError where it cannot be filled.

    Raises ComparisonError for a pattern that makes no sense.
    """
    clock = Clock(zone=estate.time_zone, now=now)
    if judged is not None:
        judged = as_declared_now(judged, estate).judged
    here = [device for device in estate.devices if isinstance(device.access, LocalAccess)]
    seen = _facts(judged)
    return render(
        "auditor_sheet.html",
        estate=estate,
        version=version,
        made=clock.moment(now),
        as_of=clock.moment(judged.started) if judged is not None else None,
        old=judged is not None and now - judged.started > FRESH,
        here=", ".join(f"{device.id} ({site_name(estate, device)})" for device in here),
        own=tuple(_own(part, own, estate, judged, clock) for part in OwnPart if _places(part, own)),
        own_volumes=tuple(str(volume.key) for device in here for volume in device.volumes),
        boxes=tuple(_box(device, estate, seen) for device in estate.devices if isinstance(device.access, SshAccess)),
        shelf=tuple(device.id for device in estate.devices if isinstance(device.access, ShelfAccess)),
        addresses=tuple(_addresses(estate)),
        text=estate.text.splitlines(),
    )


def _places(part: OwnPart, own: OwnPlaces) -> list[OwnPlace]:
    places = [place for place in own.places if place.part is part]
    if part is OwnPart.LEDGER:
        places.append(own.dump if own.database is None or own.dumped is not None else own.database)
    return places


def _own(part: OwnPart, own: OwnPlaces, estate: Estate, judged: JudgedEstate | None, clock: Clock) -> OwnView:
    """Say where a part comes back from: the best copy of the dataset that holds all of it."""
    lie = [placed(estate, place) for place in _places(part, own)]
    held = {place.dataset.id for place in lie if place.dataset is not None and place.is_covered}
    best = None
    why_not = _why_not(lie)
    if not why_not and len(held) == 1:
        best = best_copy(next(iter(held)), estate, judged)
        why_not = "" if best is not None else f"no copy of {next(iter(held))} elsewhere is shown"
    elif not why_not:
        why_not = f"it is spread over {', '.join(sorted(held))}: bring each back by its own sheet"
    return OwnView(
        part=part,
        paths=tuple(dict.fromkeys(place.place.path for place in lie)),
        copy=place_said(best, estate) if best is not None else None,
        state=clock.maybe(best.recovery_point) if best is not None else None,
        standing=best.standing if best is not None else "",
        key=key_said(best, estate) if best is not None else "",
        why_not=why_not,
        without=_WITHOUT[part],
    )


def _why_not(lie: list[Placed]) -> str:
    """Say why a part has no copy by declaration (empty: all of it belongs to datasets)."""
    if all(place.is_covered for place in lie):
        return ""
    return "some of it belongs to no dataset" if any(place.is_covered for place in lie) else "it belongs to no dataset"


def _facts(judged: JudgedEstate | None) -> dict[DeviceId, DeviceFacts]:
    places = [
        place
        for dataset in (judged.datasets if judged is not None else ())
        for place in (dataset.original.evidence.place, *(copy.evidence.place for copy in dataset.copies))
    ]
    return {place.device.id: place.device_facts for place in places if isinstance(place.device_facts, DeviceFacts)}


def _box(device: Device, estate: Estate, seen: dict[DeviceId, DeviceFacts]) -> BoxView:
    access = device.access
    assert isinstance(access, SshAccess)  # noqa: S101 - the caller has chosen these
    facts = seen.get(device.id)
    port = f" -p {access.port}" if access.port else ""
    return BoxView(
        name=device.id,
        where=site_name(estate, device),
        how=f"ssh{port} {access.user + '@' if access.user else ''}{access.host}",
        host_key=(facts.host_key if facts else None) or "not seen: look at the box itself",
    )


def _addresses(estate: Estate) -> Iterator[tuple[str, str]]:
    """Name where each address is kept: the addresses themselves stand nowhere but there."""
    targets: list[Kept] = [*estate.notices, *([estate.alive] if estate.alive is not None else [])]
    for kept in targets:
        if kept.url_file is not None:
            yield kept.whose, f"the file {kept.url_file}"
        elif kept.url_env is not None:
            yield kept.whose, f"the environment variable {kept.url_env}"
        else:
            yield kept.whose, f"the service credential {kept.url_credential}"
