"""What a manifest file says of itself, as JSON in its Parquet footer, under a digest of its own."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from coverage_audit.errors import EvidenceError
from coverage_audit.estate.model import Address, DeviceId, VolumeId, VolumeKey
from coverage_audit.evidence.manifest import Blind, Census, Origin
from coverage_audit.evidence.store.layout import FIRST_SCHEMA_NAME, FOOTER_KEY, SCHEMA_NAME, Group

DIGEST_KEY = FOOTER_KEY + b"_sha256"
_MICROSECOND = timedelta(microseconds=1)


@dataclass(frozen=True, kw_only=True)
class Footer:
    """All of it. `seed_id` tells whether two manifests' keys were made with one seed; `first` is one of version 1."""

    origin: Origin
    census: Census
    blind: tuple[Blind, ...]
    seed_id: str
    groups: tuple[Group, ...]
    first: bool = False


def seed_id(seed: bytes) -> str:
    """Return what names a seed without giving it away."""
    return hashlib.sha256(b"coverage-audit seed " + seed).hexdigest()[:16]


def footer_metadata(footer: Footer) -> dict[bytes, bytes]:
    """Write a footer as Parquet key-value metadata."""
    return sealed(
        {
            "schema": SCHEMA_NAME,
            "origin": _origin_out(footer.origin),
            "census": asdict(footer.census),
            "blind": [{"path": blind.path.hex(), "why": blind.why} for blind in footer.blind],
            "seed_id": footer.seed_id,
            "groups": [_group_out(group) for group in footer.groups],
        },
    )


def sealed(said: dict[str, Any]) -> dict[bytes, bytes]:
    """Write what a file says of itself, under a digest."""
    text = json.dumps(said).encode("ascii")
    return {FOOTER_KEY: text, DIGEST_KEY: hashlib.sha256(text).hexdigest().encode("ascii")}


def unsealed(metadata: dict[bytes, bytes]) -> dict[str, Any]:
    """Read it back. Raises EvidenceError for a foreign or damaged one."""
    text = metadata.get(FOOTER_KEY)
    if text is None:
        raise EvidenceError("it is no file of this program")
    if hashlib.sha256(text).hexdigest().encode("ascii") != metadata.get(DIGEST_KEY):
        raise EvidenceError("its own description is damaged")
    said: dict[str, Any] = json.loads(text)
    return said


def parse_footer(metadata: dict[bytes, bytes]) -> Footer:
    """Read a footer back. Raises EvidenceError for a foreign, damaged or newer one."""
    said = unsealed(metadata)
    if said.get("schema") not in {SCHEMA_NAME, FIRST_SCHEMA_NAME}:
        raise EvidenceError(f"it is written as {said.get('schema')!r}, this version reads {SCHEMA_NAME!r}")
    return Footer(
        origin=_origin_in(said["origin"]),
        census=Census(**said["census"]),
        blind=tuple(Blind(path=bytes.fromhex(blind["path"]), why=blind["why"]) for blind in said["blind"]),
        seed_id=said["seed_id"],
        groups=tuple(_group_in(group) for group in said["groups"]),
        first=said["schema"] == FIRST_SCHEMA_NAME,
    )


def _origin_out(origin: Origin) -> dict[str, Any]:
    volume = origin.address.volume
    return {
        "device": volume.device,
        "volume": volume.volume,
        "path": origin.address.path,
        "root": origin.root,
        "how": origin.how,
        "started": origin.started.isoformat(),
        "finished": origin.finished.isoformat(),
        "precision_ns": origin.precision_ns,
        "lacks": sorted(origin.lacks),
        "clock_offset_us": None if origin.clock_offset is None else origin.clock_offset // _MICROSECOND,
        "filesystem_uuid": origin.filesystem_uuid,
        "filesystem_type": origin.filesystem_type,
        "digest": origin.digest,
    }


def _origin_in(said: dict[str, Any]) -> Origin:
    offset = said["clock_offset_us"]
    key = VolumeKey(device=DeviceId(said["device"]), volume=VolumeId(said["volume"]))
    return Origin(
        address=Address(volume=key, path=said["path"]),
        root=said["root"],
        how=said["how"],
        started=datetime.fromisoformat(said["started"]),
        finished=datetime.fromisoformat(said["finished"]),
        precision_ns=said["precision_ns"],
        lacks=frozenset(said["lacks"]),
        clock_offset=None if offset is None else timedelta(microseconds=offset),
        filesystem_uuid=said["filesystem_uuid"],
        filesystem_type=said["filesystem_type"],
        digest=said.get("digest"),
    )


def _group_out(group: Group) -> dict[str, Any]:
    return {
        "first": group.first.hex(),
        "rows": group.rows,
        "files": group.files,
        "bytes": group.bytes,
        "digest": group.digest.hex(),
        "ctimes_digest": group.ctimes_digest.hex(),
        "newest_mtime_ns": group.newest_mtime_ns,
        "hollow": group.hollow,
        "digested": group.digested,
    }


def _group_in(said: dict[str, Any]) -> Group:
    return Group(
        first=bytes.fromhex(said["first"]),
        rows=said["rows"],
        files=said["files"],
        bytes=said["bytes"],
        digest=bytes.fromhex(said["digest"]),
        ctimes_digest=bytes.fromhex(said["ctimes_digest"]),
        newest_mtime_ns=said["newest_mtime_ns"],
        hollow=said.get("hollow", 0),
        digested=said.get("digested", 0),
    )
