"""Nights recorded in a ledger."""

from __future__ import annotations

import stat
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from coverage_audit.errors import LedgerError
from coverage_audit.estate.model import Address
from coverage_audit.evidence.difference import TakeUp
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.opening import open_ledger
from coverage_audit.ledger.record import AuditRecord, Compared, Recorded, SeenManifest
from tests.builders.kept import a_compared, a_seen_manifest, a_staged_file
from tests.builders.recorded import (
    COPY,
    ESTATE_TEXT,
    a_finding,
    a_judged,
    night,
)


def recorded(ledger: Ledger, number: int = 0, **parts: object) -> Recorded:
    """Record an audit of the nth night."""
    record = AuditRecord(judged=a_judged(night(number)), estate_text=ESTATE_TEXT)
    return ledger.record(replace(record, **parts))  # type: ignore[arg-type]  # the parts are a record's own


def one_night(
    ledger: Ledger, number: int, *, original: SeenManifest | None = None, copy: Address = COPY, progress: int = 0
) -> Compared:
    """Record a night on which the original was listed (or the one given stands for it) and compared with the copy."""
    staging = ledger.staging(night(number))
    seen = original or a_seen_manifest(staging, night(number) + timedelta(minutes=1))
    held = a_seen_manifest(staging, night(number) + timedelta(minutes=2), copy)
    compared = a_compared(
        seen.manifest.file,
        held.manifest.file,
        a_staged_file(staging, b"differences"),
        night(number),
        copy_address=copy,
        take_up=TakeUp(last_progress=night(progress), gone_unheld=3, pending_since=night(1)),
    )
    recorded(ledger, number, manifests=(seen, held) if original is None else (held,), comparisons=(compared,))
    return compared


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def filled(state: Path, url: str | None = None) -> Ledger:
    ledger = open_ledger(state, url)
    judged = a_judged(datasets={"field-recordings": [a_finding()]})
    ledger.record(AuditRecord(judged=judged, estate_text=ESTATE_TEXT))
    return ledger


def refused(state: Path, url: str | None = None) -> str:
    with pytest.raises(LedgerError) as caught:
        open_ledger(state, url)
    return str(caught.value)
