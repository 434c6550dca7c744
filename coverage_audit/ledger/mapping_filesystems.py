"""Mounted filesystems as JSON and back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coverage_audit.evidence.facts import MountedFilesystem

Stored = Mapping[str, Any]


def store_filesystem(filesystem: MountedFilesystem) -> Stored:
    """Return the stored form of a mounted filesystem (sizes in bytes)."""
    return {
        "source": filesystem.source,
        "target": filesystem.target,
        "filesystem_type": filesystem.filesystem_type,
        "uuid": filesystem.uuid,
        "capacity": filesystem.capacity,
        "free": filesystem.free,
        "fs_root": filesystem.fs_root,
        "device_number": filesystem.device_number,
        "is_network": filesystem.is_network,
        "read_only": filesystem.read_only,
    }


def load_filesystem(stored: Stored) -> MountedFilesystem:
    """Return a mounted filesystem."""
    return MountedFilesystem(
        source=stored["source"],
        target=stored["target"],
        filesystem_type=stored["filesystem_type"],
        uuid=stored["uuid"],
        capacity=stored["capacity"],
        free=stored["free"],
        fs_root=stored["fs_root"],
        device_number=stored["device_number"],
        is_network=stored["is_network"],
        read_only=stored.get("read_only"),
    )
