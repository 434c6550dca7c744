"""Alembic runs this for every command, on the connection that the opening of the ledger hands over."""

from __future__ import annotations

from alembic import context

from coverage_audit.ledger import tables, tables_of_nights, tables_of_proof, tables_of_turnover
from coverage_audit.ledger.metadata import METADATA

_DECLARED = (tables, tables_of_nights, tables_of_proof, tables_of_turnover)
"""Named so that each of them has entered its tables into `METADATA`."""

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    transaction_per_migration=False,
)
with context.begin_transaction():
    context.run_migrations()
