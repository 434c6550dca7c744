"""Whether a copy's volume can take anything more, as far as it shows it."""

from __future__ import annotations

from coverage_audit.estate.units import format_size
from coverage_audit.evidence.difference import Tally
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.judgement.case import PlaceEvidence
from coverage_audit.judgement.serving import lies_elsewhere


def takes_nothing_more(place: PlaceEvidence, lacking: Tally) -> str | None:
    """Say why what a copy lacks cannot come to it (None: nothing that is shown speaks against it).

    A share may be mounted read-only here, where it is only looked at, and writable where the copy is made; and
    what is declared immutable is meant to be read-only.
    """
    seen = place.volume_facts
    if not isinstance(seen, VolumeFacts):
        return None
    if seen.read_only and not place.volume.immutable and not lies_elsewhere(seen):
        return "it is mounted read-only, so nothing new can come to it"
    if seen.free == 0:
        return "it is full: 0 bytes are free"
    if seen.inodes_free == 0:
        return f"it is full: none of its {seen.inodes or 0} inodes is free, so no file can be added"
    if seen.free is not None and seen.free < lacking.bytes:
        return f"{format_size(lacking.bytes)} are lacking, and only {format_size(seen.free)} are free"
    return None
