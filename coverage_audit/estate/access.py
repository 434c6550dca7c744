"""How a device is reached, and what its volumes must show of themselves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta


@dataclass(frozen=True, kw_only=True)
class LocalAccess:
    """The volumes are folders on the auditor's own machine."""


@dataclass(frozen=True, kw_only=True)
class SshAccess:
    """The volumes are reached over SSH; unset parts come from `~/.ssh/config`."""

    host: str
    user: str | None = None
    port: int | None = None
    identity_file: str | None = None
    known_hosts: str | None = None
    config_file: str | None = None
    time_limit: timedelta | None = None


@dataclass(frozen=True, kw_only=True)
class ShelfAccess:
    """Not attached; judged from the manifest recorded when it was last plugged in."""


Access = LocalAccess | SshAccess | ShelfAccess


@dataclass(frozen=True, kw_only=True)
class DeclaredIdentity:
    """Identity that the owner pins by hand (`identity:`); unset parts are pinned when first seen."""

    filesystem_uuid: str | None = None
    filesystem_type: str | None = None
    mount_source: str | None = None
    mount_target: str | None = None
    drive_serials: frozenset[str] | None = None
    machine_id: str | None = None
    host_key: str | None = None
