"""Manifests and relations as an audit stages and records them; only the ledger's view of them matters here."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.difference import CopyComparison, Mode, TakeUp, Tally
from coverage_audit.evidence.manifest import Blind, Census, CompleteManifest, Manifest, PartialManifest
from coverage_audit.ledger.record import Compared, SeenManifest
from tests.builders.manifests import an_origin
from tests.builders.recorded import COPY, ORIGINAL, RECORDINGS


def a_staged_file(staging: Path, content: bytes = b"rows") -> Path:
    file = staging / f"{uuid4().hex}.parquet"
    file.write_bytes(content)
    return file


def a_seen_manifest(
    staging: Path,
    at: datetime,
    address: Address = ORIGINAL,
    *,
    complete: bool = True,
    trusted: bool = True,
    point: str | None = None,
) -> SeenManifest:
    """A manifest that this audit made, its listing begun at `at`."""
    own = address.at_point(point) if point else address
    manifest: Manifest = CompleteManifest(
        file=a_staged_file(staging),
        origin=an_origin(address=own, started=at),
        census=Census(entries=9, files=7, bytes=700, granularity_ns=1),
    )
    if not complete:
        blind = (Blind(path=b"x", why="not readable"),)
        manifest = PartialManifest(file=manifest.file, origin=manifest.origin, census=manifest.census, blind=blind)
    return SeenManifest(address=address, manifest=manifest, trusted=trusted)


def a_compared(
    original: Path,
    copy: Path | None,
    relation: Path | None,
    at: datetime,
    *,
    dataset: DatasetId = RECORDINGS,
    copy_address: Address = COPY,
    take_up: TakeUp | None = None,
) -> Compared:
    """A comparison that rests on these files."""
    tally = Tally(files=7, bytes=700)
    comparison = CopyComparison(
        original_at=at,
        copy_at=at,
        mode=Mode(granularity_ns=1),
        original=tally,
        same=tally,
        missing=Tally(),
        changed=Tally(),
        extra=Tally(),
        left_out=Tally(),
        relation=relation,
        take_up=take_up or TakeUp(last_progress=at),
    )
    return Compared(dataset=dataset, copy=copy_address, original_file=original, copy_file=copy, comparison=comparison)


def an_hour_into(at: datetime) -> datetime:
    return at + timedelta(hours=1)


def without_relation(compared: Compared) -> Compared:
    return replace(compared, comparison=replace(compared.comparison, relation=None))
