"""What a ledger knows of the content of copies and originals: one value a place, written while a night goes on."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import delete, insert, select

from coverage_audit.estate.former import NO_LINEAGE, Lineage
from coverage_audit.estate.model import Address, DatasetId
from coverage_audit.evidence.verified import Verification
from coverage_audit.ledger.history import is_of
from coverage_audit.ledger.mapping_verifications import load_verification, store_verification
from coverage_audit.ledger.pins import accepted_at
from coverage_audit.ledger.tables_of_proof import VERIFICATIONS
from coverage_audit.ledger.transactions import Transactions


class VerificationBook(Transactions):
    """The verifications of a ledger. Every method raises LedgerError. Those of renamed or moved parts go on."""

    def of(
        self, dataset: DatasetId, place: Address, lineage: Lineage = NO_LINEAGE, *, against: Address | None = None
    ) -> Verification:
        """Return what is known of the content at a declared address (nothing: an empty value).

        What was before a person accepted anew what its volume shows does not count any more: it was of another place.
        Where that was the original's volume (`against`), only what was found to be spoilt is still known.
        """
        with self._reading() as connection:
            accepted = accepted_at(connection, place.volume, lineage.of_device(place.volume.device))
            other = None
            if against is not None:
                other = accepted_at(connection, against.volume, lineage.of_device(against.volume.device))
            row = connection.execute(
                select(VERIFICATIONS)
                .where(is_of(VERIFICATIONS, dataset, place, lineage))
                .order_by(VERIFICATIONS.c.at.desc(), VERIFICATIONS.c.id.desc())
                .limit(1)
            ).first()
        if row is None or (accepted is not None and row.at < accepted):
            return Verification()
        known = load_verification(row.body)
        if other is not None and row.at < other:
            return Verification(spoilt=known.spoilt, more=known.more)
        return known

    def keep(
        self, dataset: DatasetId, place: Address, known: Verification, at: datetime, lineage: Lineage = NO_LINEAGE
    ) -> None:
        """Keep what is known now in place of what was known before."""
        values = {
            "dataset": dataset,
            "device": place.volume.device,
            "volume": place.volume.volume,
            "path": place.path,
            "at": at,
            "body": store_verification(known),
        }
        with self._writing() as connection:
            connection.execute(delete(VERIFICATIONS).where(is_of(VERIFICATIONS, dataset, place, lineage)))
            connection.execute(insert(VERIFICATIONS).values(**values))
