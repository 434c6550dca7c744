"""Recording an audit: every file in its place, then every row in one transaction. All of it, or nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, func, insert, select

from coverage_audit.errors import LedgerError
from coverage_audit.estate.former import Lineage
from coverage_audit.evidence.manifest import CompleteManifest
from coverage_audit.ledger import events, judged_store, waivers
from coverage_audit.ledger.attachments import write_attachments
from coverage_audit.ledger.folder import StateFolder, speaking_of
from coverage_audit.ledger.keeping import place
from coverage_audit.ledger.mapping import store_tallies
from coverage_audit.ledger.pairs import of_pair
from coverage_audit.ledger.pins import carry_pins, pin_seen
from coverage_audit.ledger.record import AuditRecord, Compared, Recorded, SeenManifest
from coverage_audit.ledger.recording_facts import write_facts
from coverage_audit.ledger.recording_findings import write_findings
from coverage_audit.ledger.recording_judgement import write_judgement
from coverage_audit.ledger.shelf import write_shelf
from coverage_audit.ledger.surveys import write_surveys
from coverage_audit.ledger.tables import AUDITS, COMPARISONS, ESTATE_TEXTS, MANIFESTS
from coverage_audit.ledger.turnover_book import write_turnover


def record_audit(engine: Engine, folder: StateFolder, record: AuditRecord) -> Recorded:
    """Record one audit.

    Raises LedgerError; then nothing is recorded, and files already in place are swept at the next opening
    (not here: a connection lost in the commit leaves open whether it was made).
    """
    with speaking_of(folder.path):
        moved = _place_files(folder, record)
    kept = judged_store.kept_form(record.judged)
    with engine.begin() as connection:
        audit = _write_audit(connection, record)
        write_judgement(connection, audit, record.judged)
        judged_store.write(connection, audit, kept)
        write_facts(connection, audit, record)
        carry_pins(connection, record.lineage)
        for volume, facts in record.pins:
            pin_seen(connection, volume, facts, record.judged.started)
        for seen in record.manifests:
            _write_manifest(connection, audit, seen, moved)
        write_shelf(connection, record.shelf, moved, audit)
        write_attachments(connection, record.attached, record.detached)
        for compared in record.comparisons:
            _write_comparison(connection, audit, record, compared, moved)
        for turnover in record.turnovers:
            write_turnover(connection, audit, turnover, moved)
        write_surveys(connection, record.surveys, audit)
        transitions, since = write_findings(connection, audit, record)
        waivers.settle(connection, record.waivers, record.judged.finished)
        events.write(connection, record.changes, record.judged.started, audit)
        changed = events.told_by(connection, audit)
    return Recorded(transitions=transitions, since=since, moved=moved, events=changed, audit=audit)


def _place_files(folder: StateFolder, record: AuditRecord) -> dict[Path, Path]:
    at = record.judged.started
    manifests = (seen.manifest.file for seen in record.manifests)
    relations = [one.comparison.relation for one in record.comparisons if one.comparison.relation is not None]
    relations += [one.rows for one in record.turnovers if one.rows is not None]
    return {
        **place(manifests, folder.manifests, folder.staging, at),
        **place(relations, folder.relations, folder.staging, at),
    }


def _write_audit(connection: Connection, record: AuditRecord) -> int:
    digest = hashlib.sha256(record.estate_text.encode("utf-8", "backslashreplace")).hexdigest()
    if connection.execute(select(ESTATE_TEXTS.c.digest).where(ESTATE_TEXTS.c.digest == digest)).first() is None:
        connection.execute(insert(ESTATE_TEXTS).values(digest=digest, text=record.estate_text))
    judged = record.judged
    made = connection.execute(
        insert(AUDITS)
        .values(
            started=judged.started,
            finished=judged.finished,
            estate=judged.estate,
            estate_text=digest,
            time_zone=judged.time_zone,
            conclusion=judged.conclusion.value,
            rehearsal=judged.rehearsal,
            whole=judged.whole,
            waived=judged.waived,
        )
        .returning(AUDITS.c.id)
    )
    number: int = made.scalar_one()
    return number


def _write_manifest(connection: Connection, audit: int, seen: SeenManifest, moved: Mapping[Path, Path]) -> None:
    manifest = seen.manifest
    name = moved[manifest.file].name
    if connection.execute(select(MANIFESTS.c.id).where(MANIFESTS.c.file == name)).first() is not None:
        return
    connection.execute(
        insert(MANIFESTS).values(
            audit=audit,
            device=seen.address.volume.device,
            volume=seen.address.volume.volume,
            path=seen.address.path,
            own_path=manifest.origin.address.path,
            started=manifest.origin.started,
            complete=isinstance(manifest, CompleteManifest),
            trusted=seen.trusted,
            files=manifest.census.files,
            bytes=manifest.census.bytes,
            file=name,
        )
    )


def _write_comparison(
    connection: Connection, audit: int, record: AuditRecord, compared: Compared, moved: Mapping[Path, Path]
) -> None:
    outcome = compared.comparison
    connection.execute(
        insert(COMPARISONS).values(
            audit=audit,
            dataset=compared.dataset,
            device=compared.copy.volume.device,
            volume=compared.copy.volume.volume,
            path=compared.copy.path,
            original=_manifest(connection, compared.original_file, moved),
            copy=None if compared.copy_file is None else _manifest(connection, compared.copy_file, moved),
            relation=None if outcome.relation is None else moved[outcome.relation].name,
            first_at=_first_at(connection, compared, record.lineage) or record.judged.started,
            last_progress=outcome.take_up.last_progress,
            gone_unheld=outcome.take_up.gone_unheld,
            pending_since=outcome.take_up.pending_since,
            left_out_files=outcome.left_out.files,
            left_out_bytes=outcome.left_out.bytes,
            left_out_by=store_tallies(outcome.left_out_by),
        )
    )


def _manifest(connection: Connection, file: Path, moved: Mapping[Path, Path]) -> int:
    name = moved.get(file, file).name
    number = connection.execute(select(MANIFESTS.c.id).where(MANIFESTS.c.file == name)).scalar()
    if number is None:
        raise LedgerError(f"a comparison rests on the manifest {name}, which is not recorded")
    return int(number)


def _first_at(connection: Connection, compared: Compared, lineage: Lineage) -> datetime | None:
    pair = of_pair(compared.dataset, compared.copy, lineage)
    first: datetime | None = connection.execute(select(func.min(COMPARISONS.c.first_at)).where(pair)).scalar()
    return first
