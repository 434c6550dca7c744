"""A station of two places whose content is read, and ways in which content goes wrong without a trace in a listing."""

from __future__ import annotations

from dataclasses import replace

from coverage_audit.audits.audit import Audited, run_audit
from coverage_audit.audits.verifying import NO_WISH, Wish
from coverage_audit.estate.model import Address
from coverage_audit.evidence.verified import Verified
from coverage_audit.judgement.verdict import Finding
from coverage_audit.wiring import assembled
from tests.builders.two_places import two_places
from tests.parts.station import Station, copy_of, dataset_of

NAME = "field-recordings"
ORIGINAL, COPY = "kestrel/recordings", "heron/recordings"
VERIFY = "verify: {confidence: 95%, tolerable: 1%, every: 30d}"


def a_station(
    station: Station, files: int = 400, *, policy: str = VERIFY, size: int = 60, access: str = "local", limits: str = ""
) -> Station:
    """Recordings on kestrel with a mirror on heron, of which the policy asks more."""
    station.declare(two_places(access=access, limits=limits).replace("max_age: 26h}", f"max_age: 26h, {policy}}}"))
    for number in range(files):
        content = f"take {number} ".encode()
        station.write(f"{ORIGINAL}/{number // 100:02d}/{number:05d}.flac", content * (size // len(content) + 1))
    station.mirror(ORIGINAL, COPY)
    return station


def night(station: Station, wish: Wish = NO_WISH, **replaced: object) -> Audited:
    """Audit now by the station's clock, some of the audit's parts replaced."""
    estate = station.estate
    with assembled(estate, station.state, clock=station.now) as parts:
        audited = run_audit(estate, (), replace(parts, **replaced), wish)  # type: ignore[arg-type]
        assert parts.ledger.past.judged() == audited.judged
        return audited


def content_of(audited: Audited, place: str = "heron") -> Finding:
    """What the rule of content answered of a place."""
    return next(f for f in dataset_of(audited, NAME).findings if f.rule == "content" and f"@{place}:" in f.subject)


def verified_of(audited: Audited) -> Verified:
    """What is known of the copy's content."""
    found = copy_of(audited, NAME).evidence.verified
    assert found is not None
    return found


def copy_address(station: Station) -> Address:
    """The declared address of the copy."""
    return station.estate.datasets[0].copies[0].address
