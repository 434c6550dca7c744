"""Files read back out of copies. Going down loses it: the tables before hold none."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add what is new; nothing that was recorded changes."""
    op.create_table(
        "drills",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("dataset", sa.Text(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("volume", sa.Text(), nullable=False),
        sa.Column("path", sa.LargeBinary(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("read_bytes", sa.BigInteger(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_drills"),
    )
    op.create_index("ix_drills_place", "drills", ["device", "volume", "path"])


def downgrade() -> None:
    """Return to the tables before."""
    op.drop_table("drills")
