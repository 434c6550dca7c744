"""Two places held against each other, with what they show of themselves changed at will."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from coverage_audit.estate.model import Device
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.independence import Relation, relation
from tests.builders.cases import device_facts, volume_facts
from tests.builders.station import an_estate


def related(a: PlaceEvidence, b: PlaceEvidence, *others: Device, **values: Any) -> Relation:
    """Return how two places of an estate stand to each other, the same from either side."""
    devices = {place.device.id: place.device for place in (a, b)} | {device.id: device for device in others}
    estate = an_estate(*devices.values(), **values)
    found, back = relation(a, b, estate), relation(b, a, estate)
    assert found.apart is back.apart, "a relation has no direction"
    return found


def with_volume(place: PlaceEvidence, **values: Any) -> PlaceEvidence:
    """Return the place with a volume that shows these."""
    return replace(place, volume_facts=volume_facts(place.volume, **values))


def with_box(place: PlaceEvidence, **values: Any) -> PlaceEvidence:
    """Return the place on a box that shows these."""
    return replace(place, device_facts=device_facts(place.device.id, **values))
