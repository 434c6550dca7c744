"""What a box that runs no commands shows of itself: its host key, and how much room its volumes have.

It shows neither machine id nor clock nor mounts. So its volumes' identity is their content, and that it is a machine
of its own must be attested.
"""

from __future__ import annotations

from datetime import datetime

from coverage_audit.collectors.packets import Packets
from coverage_audit.collectors.readers.sftp_tree.names import no_folder, real_path_in
from coverage_audit.collectors.readers.sftp_tree.packets import STATVFS, Kind
from coverage_audit.collectors.readers.sftp_tree.paths import start_of
from coverage_audit.collectors.readers.sftp_tree.session import Session
from coverage_audit.estate.model import DeviceId, VolumeKey
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts

OVER = "sftp"


def box_facts(packets: Packets, device: DeviceId, host_key: str | None, at: datetime) -> DeviceFacts:
    """Return what is known of the box once it speaks SFTP. Raises TransportError where it does not."""
    Session(packets)
    return DeviceFacts(device=device, at=at, over=OVER, host_key=host_key)


def real_path(packets: Packets, path: str) -> bytes:
    """Return where the folder at an absolute `path` lies without links; empty where the box does not say it."""
    return real_path_in(Session(packets), path)


def room_facts(packets: Packets, volume: VolumeKey, path: str, at: datetime) -> VolumeFacts:
    """Return what is shown of the volume at an absolute `path`. Raises TransportError: MISSING or UNREADABLE."""
    session = Session(packets)
    place = start_of(path)
    answer = session.answer_to(Kind.OPENDIR, place)
    code = answer.code()
    if code is not None:
        raise no_folder(path, code)
    session.answer_to(Kind.CLOSE, answer.handle())
    room = None
    if STATVFS in session.extensions:
        told = session.answer_to(Kind.EXTENDED, STATVFS, place)
        room = told.room() if told.code() is None else None
    if room is None or not room.capacity:
        return VolumeFacts(volume=volume, at=at, path=path)
    return VolumeFacts(
        volume=volume,
        at=at,
        path=path,
        read_only=room.read_only,
        capacity=room.capacity,
        free=room.free,
        inodes=room.inodes or None,
        inodes_free=room.inodes_free if room.inodes else None,
    )
