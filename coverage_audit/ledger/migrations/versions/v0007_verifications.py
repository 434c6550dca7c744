"""What reading the content of copies has shown. Going down loses it: the tables before hold none."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what is new; nothing that was recorded changes."""
    op.create_table(
        "verifications",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("dataset", sa.Text(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("volume", sa.Text(), nullable=False),
        sa.Column("path", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_verifications"),
    )
    op.create_index("ix_verifications_place", "verifications", ["device", "volume", "path"])


def downgrade() -> None:
    """Return to the tables before."""
    op.drop_table("verifications")
