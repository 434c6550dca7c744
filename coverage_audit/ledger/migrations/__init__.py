"""How the ledger's tables came to be: one file a change, run by alembic when a ledger is opened."""
