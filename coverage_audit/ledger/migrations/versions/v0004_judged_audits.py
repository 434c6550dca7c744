"""What the newest whole audit judged, and whether the figures of trends are of what was declared."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_NEW = (
    ("judged_datasets", "original_whole", sa.Boolean()),
    ("volume_facts", "trusted", sa.Boolean()),
    ("summaries", "sent", sa.DateTime(timezone=True)),
)


def upgrade() -> None:
    """Add what is new; nothing that was recorded changes."""
    op.create_table(
        "judged_audits",
        sa.Column(
            "audit", sa.Integer(), sa.ForeignKey("audits.id", name="fk_judged_audits_audit_audits"), nullable=False
        ),
        sa.Column("shape", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=True),
        sa.Column("lacking", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("audit", name="pk_judged_audits"),
    )
    for table, name, kind in _NEW:
        op.add_column(table, sa.Column(name, kind, nullable=True))
    op.create_index("ix_volume_facts_audit", "volume_facts", ["audit"])


def downgrade() -> None:
    """Return to the tables before."""
    op.drop_index("ix_volume_facts_audit", "volume_facts")
    for table, name, _ in reversed(_NEW):
        with op.batch_alter_table(table) as altered:
            altered.drop_column(name)
    op.drop_table("judged_audits")
