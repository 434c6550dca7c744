"""Network mounts: who serves what is mounted, as far as the mount source says."""

from __future__ import annotations

import re

from coverage_audit.estate.access import SshAccess
from coverage_audit.estate.model import Device
from coverage_audit.evidence.facts import DeviceFacts, VolumeFacts

_URL = re.compile(r"[a-z][a-z0-9+.-]*://(?:[^@/]*@)?(\[[^\]]+\]|[^:/]+)")
_SHARE = re.compile(r"//(?:[^@/]*@)?(\[[^\]]+\]|[^:/]+)")
_EXPORT = re.compile(r"(?:[^@/:]*@)?(\[[^\]]+\]|[^:/]+):")
_ELSEWHERE = re.compile(r"nfs4?|cifs|smb3|smbfs|9p|virtiofs|ceph|glusterfs|lustre|afs|ncpfs|davfs|fuse(?:\..*)?")
_HERE = re.compile(r"localhost(?:\..*)?|127\.[0-9.]+|::1|ip6-localhost")


def lies_elsewhere(seen: VolumeFacts) -> bool:
    """Whether the bytes lie on another machine than the one that shows the mount, or may do so."""
    return bool(_ELSEWHERE.fullmatch(seen.filesystem_type or "")) or server_of(seen) is not None


def server_of(seen: VolumeFacts) -> str | None:
    """Return the serving host as the mount source names it, in lower case (None: it names none)."""
    return server_named_by(seen.mount_source or "", seen.filesystem_type)


def server_named_by(source: str, filesystem_type: str | None) -> str | None:
    """Return the serving host that a mount's source names, in lower case (None: it names none)."""
    if not source or source.startswith("/dev/") or filesystem_type == "zfs":
        return None
    for form in (_URL, _SHARE, _EXPORT):
        found = form.match(source)
        if found:
            return found.group(1).strip("[]").lower()
    return None


def is_served_by(server: str, device: Device, facts: DeviceFacts | None) -> bool:
    """Whether a serving host's name or address is a declared device's own.

    An unqualified name agrees with a qualified one that begins with it; two qualified names must be equal.
    """
    return any(_one_host(server, name.lower()) for name in _names_of(device, facts))


def is_the_mounting_machine(server: str) -> bool:
    """Whether a serving host's name means the very machine that shows the mount."""
    return _HERE.fullmatch(server) is not None


def _names_of(device: Device, facts: DeviceFacts | None) -> frozenset[str]:
    ssh = {device.access.host} if isinstance(device.access, SshAccess) else set()
    own = facts.own_addresses if facts else frozenset()
    return frozenset({str(device.id), *device.formerly, *ssh, *own})


def _one_host(first: str, second: str) -> bool:
    if first == second:
        return not is_the_mounting_machine(first)
    short, long = sorted((first.rstrip("."), second.rstrip(".")), key=len)
    return short == long or ("." not in short and ":" not in short and long.startswith(f"{short}."))
