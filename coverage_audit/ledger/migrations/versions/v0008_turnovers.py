"""What places lost and rewrote from audit to audit. Going down loses it: the tables before hold none."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what is new; nothing that was recorded changes."""
    op.create_table(
        "turnovers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("audit", sa.Integer(), nullable=False),
        sa.Column("dataset", sa.Text(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("volume", sa.Text(), nullable=False),
        sa.Column("path", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("against", sa.Integer(), nullable=True),
        sa.Column("rows", sa.Text(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["audit"], ["audits.id"], name="fk_turnovers_audit_audits"),
        sa.ForeignKeyConstraint(["against"], ["manifests.id"], name="fk_turnovers_against_manifests"),
        sa.PrimaryKeyConstraint("id", name="pk_turnovers"),
    )
    op.create_index("ix_turnovers_place", "turnovers", ["dataset", "device", "volume", "path"])


def downgrade() -> None:
    """Return to the tables before."""
    op.drop_table("turnovers")
