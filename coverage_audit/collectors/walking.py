"""One tree walked into one manifest: the way of walking, its proof and the file, held together."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from coverage_audit.collectors.errands import Walk
from coverage_audit.collectors.readers import find_tree, stat_tree
from coverage_audit.collectors.readers.find_tree import FindReader
from coverage_audit.collectors.readers.scan_tree import scan
from coverage_audit.collectors.readers.sftp_tree import walk_over_sftp
from coverage_audit.collectors.readers.stat_tree import StatReader
from coverage_audit.collectors.real_places import require_on_its_volume
from coverage_audit.collectors.transport import Transport
from coverage_audit.collectors.walked import AddRows, Walked
from coverage_audit.collectors.ways import GNU, Ways
from coverage_audit.estate.access import LocalAccess
from coverage_audit.estate.model import Address, VolumeKey
from coverage_audit.evidence.facts import VolumeFacts
from coverage_audit.evidence.manifest import Manifest, Origin
from coverage_audit.evidence.progress import Progress
from coverage_audit.evidence.store import ManifestWriter


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a tree lies: its absolute `root` on the device, and what is known of the place already.

    `entered` says where the device's volumes lie without links, of those that were entered.
    """

    address: Address
    root: str
    clock_offset: timedelta | None
    volume: VolumeFacts | None
    entered: Mapping[VolumeKey, bytes]


def walk(errand: Walk, place: Place, transport: Transport, ways: Ways, progress: Progress) -> Manifest:
    """Walk the tree and return its manifest, which lies in the errand's staging folder.

    On this machine by the local walkers, else in the way that the box offers.

    Raises TransportError when the listing is not proven whole or its root is not on its volume, EvidenceError when it
    cannot be stored; no file is left then.
    """
    started = errand.clock.now()
    file = errand.staging / f"{secrets.token_hex(16)}.parquet"
    writer = ManifestWriter(file, errand.seed, errand.memory, started=started)
    try:
        walked = _walked(errand, place, transport, ways, (writer.add, partial(progress, str(place.address))))
        require_on_its_volume(place.address, walked.real_root, place.entered)
        origin = Origin(
            address=place.address,
            root=place.root,
            how=walked.how,
            started=started,
            finished=errand.clock.now(),
            precision_ns=walked.precision_ns,
            lacks=walked.lacks,
            clock_offset=place.clock_offset,
            filesystem_uuid=place.volume.filesystem_uuid if place.volume else None,
            filesystem_type=place.volume.filesystem_type if place.volume else None,
        )
        return writer.finish(origin, walked.blind)
    except BaseException:
        writer.abandon()
        raise


def _walked(
    errand: Walk, place: Place, transport: Transport, ways: Ways, to: tuple[AddRows, Callable[[int], None]]
) -> Walked:
    add, progress = to
    if isinstance(errand.question.device.access, LocalAccess):
        return scan(place.root, add, walkers=errand.limits.walkers, deadline=errand.deadline, progress=progress)
    found = ways.tools()
    if found is None:
        with ways.open_sftp(errand.deadline) as packets:
            return walk_over_sftp(packets, place.root, add, progress)
    nonce = secrets.token_hex(16)
    reader: FindReader | StatReader
    if found.walk == GNU:
        reader, request = FindReader(place.root, nonce, add), find_tree.request(place.root, nonce)
    else:
        reader = StatReader(place.root, nonce, add, precision_ns=found.precision_ns)
        request = stat_tree.request(found.walk or "", place.root, nonce)
    with transport.open_request(request, deadline=errand.deadline) as stream:
        for piece in stream:
            reader.feed(piece)
            progress(reader.entries)
        return reader.end(stream.exit_status, stream.stderr, stream.stderr_dropped)
